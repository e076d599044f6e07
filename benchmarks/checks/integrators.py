"""Integrator cases: spectral properties, convergence, stability limits, overshoot."""

import math
from typing import Any

import numpy as np

from benchmarks.checks.building import chain, order, oscillator, shear_building
from benchmarks.textbook import Answers
from frame2d import (
    BeamColumn,
    Brace,
    Frame,
    Response,
    chung_hulbert,
    hilber,
    modes,
    newmark,
    time_history,
)
from frame2d.analysis import central_difference
from frame2d.analysis.damping import StiffnessMass
from frame2d.materials import Elastic
from frame2d.motions.record import Record
from frame2d.motions.spectra import response_history

OMEGA = 2.0 * math.pi


def _principal(scheme: Any, omega_dt: float) -> complex:
    """The eigenvalue of the amplification matrix that belongs to the motion itself."""
    roots = np.linalg.eigvals(scheme.amplification(omega_dt))
    exact = np.exp(1j * omega_dt)
    return complex(roots[np.argmin(np.abs(roots - exact))])


def _radius(scheme: Any, omega_dt: float, ratio: float = 0.0) -> float:
    """Spectral radius."""
    return float(np.abs(np.linalg.eigvals(scheme.amplification(omega_dt, ratio))).max())


def _limit(scheme: Any, ratio: float = 0.0) -> float:
    """Largest stable ω·Δt, where the spectral radius rises above 1."""
    low, high = 0.1, 10.0
    while high - low > 1e-12:
        middle = 0.5 * (low + high)
        # At the limit two eigenvalues meet at −1 and rounding grows to its square root.
        low, high = (middle, high) if _radius(scheme, middle, ratio) < 1.0 + 1e-7 else (low, middle)
    return low


def in_1() -> Answers:
    """Spectral radius at infinity, period elongation and algorithmic damping."""
    schemes: dict[str, Any] = {"aa": newmark(), "la": newmark(0.5, 1.0 / 6.0), "nd": newmark(0.6, 0.3025)}
    schemes |= {f"hht-{-alpha}": hilber(alpha) for alpha in (-0.05, -0.1, -0.2, -0.3)}
    schemes |= {f"ga{rho}": chung_hulbert(rho) for rho in (1.0, 0.9, 0.8, 0.5, 0.0)}
    schemes["cd"] = central_difference()
    answers: Answers = {}
    omega_dt = 0.1 * OMEGA
    for name, scheme in schemes.items():
        root = _principal(scheme, omega_dt)
        angle = math.atan2(root.imag, root.real)
        answers[f"PE@{name}"] = omega_dt / angle - 1.0
        answers[f"xi_num@{name}"] = -math.log(abs(root)) / angle
        answers[f"rho_inf@{name}"] = _radius(scheme, 1e7)
    return answers


def _released(scheme: Any, dt: float, duration: float, ratio: float = 0.0) -> Response:
    """Oscillator of period 1 s let go from 1 m."""
    return time_history(
        oscillator(1000.0, 1000.0 * OMEGA**2).compile(),
        dt=dt,
        duration=duration,
        damping=StiffnessMass(a0=2.0 * ratio * OMEGA),
        scheme=scheme,
        initial_displacement={("1", "ux"): 1.0},
    )


def _bar(consistent: bool) -> float:
    """Largest explicit step (s) by the fastest mode of a bar of 100 elements of 0.1 m."""
    E, rho, A, count = 200e9, 7850.0, 0.01, 100
    frame = Frame("bar")
    frame.node("a", 0.0, 0.0, support="fixed")
    frame.node("b", 0.1 * count, 0.0, support=("uy", "rz"))
    member = (
        BeamColumn(E=E, A=A, I=1e-4, mass_per_length=rho * A)
        if consistent
        else Brace(Elastic(E * A / 0.1), mass_per_length=rho * A)
    )
    for node in chain(frame, "a", "b", count, member)[1:-1]:
        frame.support(node, ("uy", "rz"))
    return central_difference().limit(float(modes(frame.compile(), count=None).omega[-1]))


def in_2() -> Answers:
    """Convergence of free vibration, and time steps at which explicit integration is at its limit, 2/ω."""
    # Free vibration from 1 m is 1 m less the response to a suddenly applied ω²; that is exact for constant samples.
    step = response_history(Record(np.full(11, -(OMEGA**2)), 0.1, "step"), 1.0, 0.05)[0]
    exact = 1.0 - float(step[-1])
    answers: Answers = {"exact": exact}
    for name, scheme in (("aa", newmark()), ("hht", hilber(-0.1)), ("ga", chung_hulbert(0.8))):
        errors = []
        for dt in (0.05, 0.025, 0.0125, 0.00625, 0.003125):
            value = float(_released(scheme, dt, 1.0, 0.05).displacement("1")[-1])
            answers[f"{name}_{dt:g}"] = value
            errors.append(value - exact)
        answers[f"{name}_p"] = order(errors[-2], errors[-1])
    answers["b_und"] = _limit(central_difference())
    answers["b_half"] = _limit(central_difference(lagged=True), 0.05)
    building = modes(shear_building([2e4] * 5, [2e7] * 5).compile(), count=5)
    answers["b_bld"] = central_difference().limit(float(building.omega[-1]))
    answers["b_l"], answers["b_c"] = _bar(False), _bar(True)
    return answers


def in_3() -> Answers:
    """Overshoot at steps of ten periods."""
    answers: Answers = {}
    schemes = {"aa": newmark(), "hht": hilber(-0.1), "ga9": chung_hulbert(0.9), "ga5": chung_hulbert(0.5)}
    for name, scheme in schemes.items():
        response = _released(scheme, 10.0, 40.0)
        for step in range(1, 5):
            answers[f"u {name}@{step}"] = float(response.displacement("1")[step])
            answers[f"v/omega {name}@{step}"] = float(response.velocity("1")[step]) / OMEGA
    return answers
