"""Inelastic spectra of constant ductility: the strength at which a bilinear oscillator just reaches μ.

    ü + 2ζω·u̇ + f(u) = −a(t),   f = b·k·u + (1 − b)·z,   ż = k·u̇ while |z| < f_y, else 0,   k = ω²

Per unit mass, so that f_y is an acceleration; u_y = f_y/k, μ = max|u|/u_y, kinematic hardening of ratio b. Both
branches are linear, so each is stepped exactly (`frame2d.motions.oscillator`), and the instants of yield and of
reversal are located inside the step; a reversal that is made good again within ωτ = 0.25 can pass unseen.

μ(f_y) is not monotonic. Among several strengths with the same ductility the largest is taken, as is usual (Veletsos &
Newmark 1960; Chopra, Dynamics of structures, ch. 7; from memory): strength is lowered from the elastic demand in
small ratios until μ is first exceeded, then bisected. A dip narrower than the ratio can be missed.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import Frame2dError, InputError, within
from frame2d.kernels import NOT_CONVERGED, OK, compiled
from frame2d.motions.oscillator import differentiate, root, series, step_matrices, value
from frame2d.motions.record import Record, as_records
from frame2d.motions.spectra import checked_periods, in_threads, response_spectra

_TERMS = 14  # (ωτ)ⁿ/n! < 1e-18 for ωτ ≤ 0.25
_REACH = 0.25  # largest ω·h of a piece


@compiled
def _crossing(u, v, a0, slope, k, c, h, level, of_rate, work):  # type: ignore[no-untyped-def]
    """Time in (0, h] at which u = level, or at which u̇ = 0 if `of_rate`; a change of sign is known to be there."""
    f, g, d = work[0], work[1], work[2]
    series(u, v, a0, slope, k, c, f, _TERMS)
    differentiate(f, _TERMS, g)
    if of_rate:
        differentiate(g, _TERMS - 1, d)
        return root(g, d, _TERMS - 1, 0.0, h)
    f[0] -= level
    t = root(f, g, _TERMS, 0.0, h)
    t -= value(f, _TERMS, t) / value(g, _TERMS - 1, t) if value(g, _TERMS - 1, t) != 0.0 else 0.0
    return min(max(t, 0.0), h)


@compiled
def largest(a, dt, tail, pieces, elastic, plastic, k, c, b, fy, trace, work):  # type: ignore[no-untyped-def]
    """Largest |u| of the bilinear oscillator; fills `trace` with u at the samples as far as it reaches."""
    h = dt / pieces
    u, v, slip, top, side = 0.0, 0.0, 0.0, 0.0, 0.0  # side: +1, −1 on a plastic branch, 0 on the elastic one
    uy = fy / k
    f, g = work[0], work[1]
    for i in range(1, a.size + tail):
        start = a[i - 1] if i <= a.size else 0.0
        rate = ((a[i] if i < a.size else 0.0) - start) / dt
        for piece in range(pieces):
            t, left = h * piece, h
            for _ in range(100):  # branches within one piece: two or three at most
                yielding = side != 0.0
                stiffness = b * k if yielding else k
                load = start + rate * t + ((1.0 - b) * fy * side if yielding else -(1.0 - b) * k * slip)
                if left == h:
                    m = plastic if yielding else elastic
                    far = load + rate * h
                    u1 = m[0, 0] * u + m[0, 1] * v + m[0, 2] * load + m[0, 3] * far
                    v1 = m[1, 0] * u + m[1, 1] * v + m[1, 2] * load + m[1, 3] * far
                else:
                    series(u, v, load, rate, stiffness, c, f, _TERMS)
                    differentiate(f, _TERMS, g)
                    u1, v1 = value(f, _TERMS, left), value(g, _TERMS - 1, left)
                tau = -1.0
                if yielding:
                    if v1 * side < 0.0:  # reversal
                        tau = _crossing(u, v, load, rate, stiffness, c, left, 0.0, True, work)
                else:
                    end, past = left, u1
                    if v * v1 < 0.0 and max(abs(u - slip), abs(u1 - slip)) + abs(v - v1) * left > uy:
                        end = _crossing(u, v, load, rate, stiffness, c, left, 0.0, True, work)
                        past = value(work[0], _TERMS, end)  # the turning point may lie beyond yield
                        if abs(past - slip) <= uy:
                            end, past = left, u1
                    if abs(past - slip) > uy:
                        side = 1.0 if past > slip else -1.0
                        tau = _crossing(u, v, load, rate, stiffness, c, end, slip + side * uy, False, work)
                if tau < 0.0:
                    u, v = u1, v1
                    break
                series(u, v, load, rate, stiffness, c, f, _TERMS)
                differentiate(f, _TERMS, g)
                u, v = value(f, _TERMS, tau), value(g, _TERMS - 1, tau)
                if yielding:
                    slip, v, side = u - side * uy, 0.0, 0.0
                else:
                    u = slip + side * uy
                top = max(top, abs(u))
                t, left = t + tau, left - tau
                if left <= 0.0:
                    break
            top = max(top, abs(u))
        if i < trace.size:
            trace[i] = u
    return top


@compiled
def _search(a, dt, tail, pieces, elastic, plastic, k, c, b, demand, targets, ratio, out):  # type: ignore[no-untyped-def]
    """Largest strength for each of the growing ductilities `targets`, and its ductility, into `out` [targets, 2]."""
    none, work = np.zeros(0), np.zeros((3, _TERMS))
    if demand <= 0.0:
        return NOT_CONVERGED
    high = demand
    low = demand
    over = 1.0  # ductility at `low`
    for target in range(targets.size):
        goal = targets[target]
        if goal <= 1.0:
            out[target, 0] = demand
            out[target, 1] = 1.0
            continue
        while over <= goal:
            high = low
            low = high * ratio
            if low < 1e-4 * demand:
                return NOT_CONVERGED
            over = largest(a, dt, tail, pieces, elastic, plastic, k, c, b, low, none, work) * k / low
        inner_high, inner_low = high, low
        reached = 0.0
        for _ in range(60):
            middle = 0.5 * (inner_high + inner_low)
            mu = largest(a, dt, tail, pieces, elastic, plastic, k, c, b, middle, none, work) * k / middle
            if mu > goal:
                inner_low = middle
            else:
                inner_high = middle
                reached = mu
                if goal - mu <= 1e-7 * goal:
                    break
            if inner_high - inner_low <= 1e-13 * inner_high:
                break
        if reached == 0.0:
            reached = (
                largest(a, dt, tail, pieces, elastic, plastic, k, c, b, inner_high, none, work)
                * k
                / inner_high
            )
        out[target, 0] = inner_high
        out[target, 1] = reached
    return OK


@dataclass(frozen=True, eq=False)
class DuctilitySpectra:
    """Constant-ductility spectra: arrays are [record, ductility, period], without the record axis for one record."""

    periods: np.ndarray
    ductility: np.ndarray
    #: Yield strength per unit mass, m/s².
    strength: np.ndarray
    #: Elastic demand per unit mass ω²·SD over the strength.
    reduction: np.ndarray
    #: Largest |u|, m.
    displacement: np.ndarray
    #: Ductility at the strength given, to compare with the one asked for.
    reached: np.ndarray
    names: tuple[str, ...]


def ductility_spectra(
    records: Record | Iterable[Record],
    periods: Any,
    ductility: Any,
    damping: float = 0.05,
    *,
    hardening: float = 0.0,
    ratio: float = 0.96,
    tail: float | None = None,
    threads: int | None = None,
) -> DuctilitySpectra:
    """Strength for constant ductility of a bilinear oscillator (`hardening` 0: elastic, perfectly plastic).

    `periods` in s (> 0) and `ductility` (1 to 50) are single values or rows; `ratio` is the step of the downward
    search for the largest strength; `tail` seconds of rest follow the record (None: the longest period). Raises
    `InputError` for values out of range, `Frame2dError` if no strength down to 1e-4 of the elastic demand reaches μ.
    """
    suite = as_records(records)
    T = np.atleast_1d(checked_periods(periods))
    if np.any(T <= 0.0):
        raise InputError("periods hold 0; allowed in inelastic spectra: above 0 s")
    mu = np.atleast_1d(np.asarray(ductility, dtype=np.float64))
    if mu.ndim > 1 or mu.size == 0 or not np.all((mu >= 1.0) & (mu <= 50.0)):
        raise InputError(f"ductility is {ductility!r}; allowed: one value or one row, from 1 to 50")
    zeta = within("damping", damping, 0.0, 1.0, open_high=True, hint="a ratio: 0.05 for 5 %")
    b = within("hardening", hardening, 0.0, 1.0, open_high=True, hint="a ratio of stiffnesses")
    ratio = within("ratio", ratio, 0.5, 0.999)
    order = np.argsort(mu)
    omega = 2.0 * np.pi / T
    elastic = response_spectra(suite, T, zeta, tail=tail, threads=threads).SD * omega**2
    tail = float(T.max()) if tail is None else tail
    strength, reached = np.zeros((2, len(suite), T.size, mu.size))
    failed = np.zeros((len(suite), T.size), dtype=bool)

    def run(task: int) -> None:
        i, j = divmod(task, T.size)
        record = suite[i]
        out = np.zeros((mu.size, 2))
        pieces = int(np.ceil(omega[j] * record.dt / _REACH))
        k, c = omega[j] ** 2, 2.0 * zeta * omega[j]
        branch = step_matrices(np.array([k, b * k]), np.array([c, c]), record.dt / pieces)
        rest = int(np.ceil(tail / record.dt))
        failed[i, j] = (
            _search(
                record.acceleration,
                record.dt,
                rest,
                pieces,
                branch[0],
                branch[1],
                k,
                c,
                b,
                elastic[i, j],
                mu[order],
                ratio,
                out,
            )
            != OK
        )
        strength[i, j, order], reached[i, j, order] = out[:, 0], out[:, 1]

    in_threads(run, len(suite) * T.size, threads)
    if failed.any():
        i, j = np.argwhere(failed)[0]
        raise Frame2dError(
            f"no strength of at least 1e-4 of the elastic demand reaches ductility {mu.max():g} at T = {T[j]:g} s under "
            f"{suite[i].name!r}; is the record without motion, or the period far beyond its content?"
        )
    strength, reached = np.swapaxes(strength, 1, 2), np.swapaxes(reached, 1, 2)
    if isinstance(records, Record):
        strength, reached, elastic = strength[0], reached[0], elastic[0]
    return DuctilitySpectra(
        T,
        mu,
        strength,
        np.expand_dims(elastic, -2) / strength,
        reached * strength / omega**2,
        reached,
        tuple(record.label for record in suite),
    )


def bilinear_history(
    record: Record, period: float, strength: float, damping: float = 0.05, hardening: float = 0.0
) -> tuple[np.ndarray, float]:
    """Displacement (m) at the samples, and its peak, of one bilinear oscillator of yield `strength` (m/s²)."""
    omega = 2.0 * np.pi / within("period", period, 0.0, 100.0, open_low=True)
    strength = within("strength", strength, 0.0, np.inf, open_low=True, hint="yield force over mass, m/s²")
    b = within("hardening", hardening, 0.0, 1.0, open_high=True)
    zeta = within("damping", damping, 0.0, 1.0, open_high=True, hint="a ratio: 0.05 for 5 %")
    pieces = int(np.ceil(omega * record.dt / _REACH))
    k, c = omega**2, 2.0 * zeta * omega
    branch = step_matrices(np.array([k, b * k]), np.array([c, c]), record.dt / pieces)
    trace = np.zeros(record.acceleration.size)
    work = np.zeros((3, _TERMS))
    top = largest(
        record.acceleration, record.dt, 0, pieces, branch[0], branch[1], k, c, b, strength, trace, work
    )
    return trace, float(top)
