"""Transient cases: oscillators with known motion, elastoplastic ones, a shear building under ground motion."""

import math
from typing import Any

import numpy as np

from benchmarks.checks.building import Ground, last, oscillator, parabola_peak, shear_building
from benchmarks.textbook import Answers
from frame2d import Rayleigh, Response, System, hilber, modes, newmark, time_history
from frame2d.analysis import central_difference
from frame2d.analysis.damping import StiffnessMass, rayleigh_coefficients
from frame2d.materials import Bilinear
from frame2d.motions.record import Record
from frame2d.motions.spectra import response_history

OMEGA = 2.0 * math.pi


def _at(response: Response, t: float) -> float:
    """Displacement of the oscillator at a sampled time."""
    return float(response.displacement("1")[round(t / response.extra["dt"])])


def _forced(
    system: System,
    force: np.ndarray,
    dt: float,
    ratio: float,
    scheme: Any = None,
    duration: float | None = None,
) -> Response:
    damping = StiffnessMass(a0=2.0 * ratio * OMEGA)
    return time_history(
        system,
        forces={("1", "ux"): force},
        dt=dt,
        damping=damping,
        scheme=scheme or newmark(),
        duration=duration,
    )


def tr_1() -> Answers:
    """Free vibration, step force, resonance and a half-sine pulse on an oscillator of period 1 s."""
    k = OMEGA**2 * 1000.0
    system = oscillator(1000.0, k).compile()
    dt = 2e-4
    a = time_history(
        system,
        dt=dt,
        duration=3.0,
        damping=StiffnessMass(a0=2.0 * 0.05 * OMEGA),
        scheme=newmark(),
        initial_displacement={("1", "ux"): 0.01},
        initial_velocity={("1", "ux"): 0.1},
    )
    u = a.displacement("1")
    one, two = (parabola_peak(a.time[part], u[part])[1] for part in (slice(0, 3000), slice(5000, 8000)))
    b = _forced(system, np.full(5001, 1000.0), dt, 0.05)
    peak_time, peak = parabola_peak(b.time, b.displacement("1"))
    t = 5e-4 * np.arange(100_001)
    force = 1000.0 * np.sin(OMEGA * t)
    resonance, damped = _forced(system, force[:10_001], 5e-4, 0.0), _forced(system, force, 5e-4, 0.05)
    steady = damped.displacement("1")[-2001:]
    t = dt * np.arange(1501)
    d = _forced(system, 1000.0 * np.sin(math.pi * t / 0.3), dt, 0.0, duration=2.0)
    largest = parabola_peak(d.time, d.displacement("1"))[1]
    return {
        "a_05": _at(a, 0.5),
        "a_20": _at(a, 2.0),
        "a_dec": math.log(one / two),
        "b_peak": peak,
        "b_t": peak_time,
        "b_075": _at(b, 0.75),
        "c_0": _at(resonance, 5.0),
        "c_5": _at(damped, 5.0),
        "c_amp": parabola_peak(damped.time[-2001:], steady)[1],
        "d_max": largest,
        "d_shock": largest / (1000.0 / k),
    }


def _half_sine(dt: float, end: float = 1.0) -> np.ndarray:
    t = dt * np.arange(round(end / dt) + 1)
    return np.where(t <= 0.6 + 1e-9, 1e6 * np.sin(math.pi * t / 0.6), 0.0)


def tr_2() -> Answers:
    """Half-sine force: fine steps, and the fingerprints of the methods at steps of 0.1 s."""
    k = 1e6
    m = k / OMEGA**2
    system = oscillator(m, k).compile()
    fine = _forced(system, _half_sine(1e-4), 1e-4, 0.05).displacement("1")[::1000]
    coarse = _half_sine(0.1)
    histories = {
        "ex": fine,
        "aa": _forced(system, coarse, 0.1, 0.05, newmark()).displacement("1"),
        "la": _forced(system, coarse, 0.1, 0.05, newmark(0.5, 1.0 / 6.0)).displacement("1"),
        "pl": response_history(Record(-coarse / m, 0.1, "half sine"), 1.0, 0.05)[0],
        "cd": _forced(system, coarse, 0.1, 0.05, central_difference()).displacement("1"),
        "hht": _forced(system, coarse, 0.1, 0.05, hilber(-0.1)).displacement("1"),
    }
    answers: Answers = {}
    for step in range(1, 11):
        for name, history in histories.items():
            answers[f"{name}@t = {step / 10:.1f}"] = float(history[step])
    return answers


def tr_3() -> Answers:
    """Elastoplastic oscillators."""
    k, R = OMEGA**2 * 1000.0, 10e3
    dt = 1e-4
    a = _forced(oscillator(1000.0, Bilinear(k=k, Fy=R)).compile(), np.full(25_001, 0.8 * R), dt, 0.0)
    u, t = a.displacement("1"), a.time
    yields = float(np.interp(R / k, u[:5000], t[:5000]))
    largest_time, largest = parabola_peak(t, u)
    later = u[10_000:]
    top, bottom = parabola_peak(t[10_000:], later)[1], -parabola_peak(t[10_000:], -later)[1]
    answers: Answers = {
        "a_ty": yields,
        "a_vy": float(np.interp(yields, t, a.velocity("1"))),
        "a_um": largest,
        "a_mu": largest / (R / k),
        "a_tm": largest_time,
        "a_c": 0.5 * (top + bottom),
        "a_a": 0.5 * (top - bottom),
    }
    system = oscillator(1e6 / OMEGA**2, Bilinear(k=1e6, Fy=0.75e6)).compile()
    b = _forced(system, _half_sine(5e-4), 5e-4, 0.05, duration=40.0)
    loop = b.device("storey 1")
    c = _forced(system, _half_sine(0.1), 0.1, 0.05)
    for step in range(1, 11):
        answers[f"b_{step}"] = _at(b, step / 10)
        answers[f"c_{step}"] = _at(c, step / 10)
    answers["b_tmax"], answers["b_max"] = parabola_peak(b.time, b.displacement("1"))
    answers["b_res"] = last(b, "1")
    answers["b_W"] = float(loop.work[-1] - loop.recoverable[-1])
    return answers


def polygon(dt: float) -> Ground:
    """The polygonal ground acceleration, sampled at dt."""
    t = dt * np.arange(round(0.8 / dt) + 1)
    return Ground(np.interp(t, [0.0, 0.1, 0.3, 0.5, 0.7, 0.8], [0.0, 3.0, -4.0, 3.0, -1.5, 0.0]), dt)


def tr_4() -> Answers:
    """Three-storey shear building: displacements, peaks and energies."""
    system = shear_building([20e3, 20e3, 15e3], [30e6, 25e6, 20e6]).compile()
    omega = modes(system, count=3).omega
    a0, a1 = rayleigh_coefficients(0.05, float(omega[0]), 0.05, float(omega[1]))
    response = time_history(
        system, polygon(0.1), dt=2.5e-4, duration=2.0, scheme=newmark(), damping=Rayleigh(0.05, (1, 2))
    )
    answers: Answers = {"a0": a0, "a1": a1}
    for floor in (1, 2, 3):
        answers[f"w{floor}"] = float(omega[floor - 1])
        for t in (0.5, 1.0, 2.0):
            answers[f"u{floor}_{t}"] = float(response.displacement(str(floor))[round(t / 2.5e-4)])
    answers["t3max"], answers["u3max"] = parabola_peak(response.time, np.abs(response.displacement("3")))
    answers["Vb"] = parabola_peak(response.time, np.abs(response.base_shear()))[1]
    answers["A3"] = parabola_peak(response.time, np.abs(response.acceleration("3")))[1]
    energies = response.energies()
    for key, name in (("EI", "ground"), ("EK", "kinetic"), ("ES", "members"), ("ED", "damped")):
        answers[key] = float(energies[name][-1])
    return answers
