"""Peaks of many oscillators under one record, side by side, at its samples or exactly inside its steps.

Peaks between samples are found rigorously. w = ü is a free vibration within a step (the load is linear), so
|w| ≤ E, |ẇ| ≤ ωE with E = |w₀| + |ẇ₀|/ω, and the sag of a history over its chord is bounded by Δt²/8 times its
second derivative. Only steps that could beat the peak so far are opened; there every history is a power series
whose second derivative has at most one zero in ωτ ≤ 1, so its first derivative is monotonic in two pieces. (Derived.)
"""

import numpy as np

from frame2d.kernels import compiled
from frame2d.motions.oscillator import differentiate, root, series, value

#: Oscillators that go through the samples side by side: a multiple of every vector width that still fits L1.
LANES = 40
_ROWS = 22
_TERMS = 20  # (ωτ)ⁿ/n! < 1e-18 for ωτ ≤ 1
_FEW = 11  # the same for ωτ ≤ 0.1


@compiled
def _peak(work, size, h, best):  # type: ignore[no-untyped-def]
    """Largest |f| inside (0, h) of the series work[1], whose f'' has at most one zero; `best` if none is larger."""
    f, first, second, third = work[1], work[2], work[3], work[4]
    differentiate(f, size, first)
    differentiate(first, size - 1, second)
    middle = h
    if second[0] * value(second, size - 2, h) < 0.0:
        differentiate(second, size - 2, third)
        middle = root(second, third, size - 2, 0.0, h)
    inner, last = value(first, size - 1, middle), value(first, size - 1, h)
    if first[0] * inner < 0.0:
        best = max(best, abs(value(f, size, root(first, second, size - 1, 0.0, middle))))
    if inner * last < 0.0:
        best = max(best, abs(value(f, size, root(first, second, size - 1, middle, h))))
    return best


@compiled
def _open_step(u, v, a0, a1, dt, omega, k, c, which, best, work):  # type: ignore[no-untyped-def]
    """Largest |u| (which = 0), |u̇| (1) or |ü + a| (2) strictly inside one step; `best` if none is larger."""
    whole, f = work[0], work[1]
    pieces = int(np.ceil(omega * dt))
    h = dt / pieces
    terms = _TERMS if omega * h > 0.1 else _FEW
    rate = (a1 - a0) / dt
    size = terms - 1
    for i in range(pieces):
        series(u, v, a0 + rate * h * i, rate, k, c, whole, terms)
        for n in range(size):
            derivative = (n + 1) * whole[n + 1]
            if which == 0:
                f[n] = whole[n]
            elif which == 1:
                f[n] = derivative
            else:
                f[n] = k * whole[n] + c * derivative
        best = _peak(work, size, h, best)
        differentiate(whole, terms, f)
        u, v = value(whole, terms, h), value(f, terms - 1, h)
        if i + 1 < pieces:  # the joint between two pieces is inside the step as well
            joint = abs(u) if which == 0 else (abs(v) if which == 1 else abs(k * u + c * v))
            best = max(best, joint)
    return best


@compiled
def _load(b, first, matrices, omega, zeta, dt):  # type: ignore[no-untyped-def]
    """Fill the lanes from oscillator `first` on; lanes beyond the last repeat it."""
    n = omega.size
    for j in range(LANES):
        i = min(first + j, n - 1)
        b[j] = 0.0
        b[j + LANES] = 0.0
        for row in range(2):
            for column in range(4):
                b[j + (2 + 4 * row + column) * LANES] = matrices[i, row, column]
        b[j + 10 * LANES] = omega[i] * omega[i]
        b[j + 11 * LANES] = 2.0 * zeta[i] * omega[i]
        for row in range(12, 15):
            b[j + row * LANES] = 0.0
        sag = dt * dt / 8.0
        b[j + 15 * LANES] = sag
        b[j + 16 * LANES] = sag * omega[i]
        b[j + 17 * LANES] = sag * omega[i] * omega[i] * (1.0 + 2.0 * zeta[i])
        b[j + 18 * LANES] = 1.0 / omega[i]


@compiled
def _advance(b, a0, a1):  # type: ignore[no-untyped-def]
    """One step of all lanes with peaks at samples only."""
    for j in range(LANES):
        u0, v0 = b[j], b[j + LANES]
        u = b[j + 2 * LANES] * u0 + b[j + 3 * LANES] * v0 + b[j + 4 * LANES] * a0 + b[j + 5 * LANES] * a1
        v = b[j + 6 * LANES] * u0 + b[j + 7 * LANES] * v0 + b[j + 8 * LANES] * a0 + b[j + 9 * LANES] * a1
        total = b[j + 10 * LANES] * u + b[j + 11 * LANES] * v
        b[j] = u
        b[j + LANES] = v
        b[j + 12 * LANES] = max(b[j + 12 * LANES], abs(u))
        b[j + 13 * LANES] = max(b[j + 13 * LANES], abs(v))
        b[j + 14 * LANES] = max(b[j + 14 * LANES], abs(total))


@compiled
def _advance_and_flag(b, a0, a1, rate):  # type: ignore[no-untyped-def]
    """One step of all lanes; returns whether some lane may have a larger peak inside the step."""
    flagged = 0.0
    for j in range(LANES):
        u0, v0 = b[j], b[j + LANES]
        k, c = b[j + 10 * LANES], b[j + 11 * LANES]
        u = b[j + 2 * LANES] * u0 + b[j + 3 * LANES] * v0 + b[j + 4 * LANES] * a0 + b[j + 5 * LANES] * a1
        v = b[j + 6 * LANES] * u0 + b[j + 7 * LANES] * v0 + b[j + 8 * LANES] * a0 + b[j + 9 * LANES] * a1
        total0 = k * u0 + c * v0
        total = k * u + c * v
        w0 = -a0 - total0
        bound = abs(w0) + abs(rate + c * w0 + k * v0) * b[j + 18 * LANES]
        top_u, top_v, top_a = max(abs(u0), abs(u)), max(abs(v0), abs(v)), max(abs(total0), abs(total))
        best_u = max(b[j + 12 * LANES], abs(u))
        best_v = max(b[j + 13 * LANES], abs(v))
        best_a = max(b[j + 14 * LANES], abs(total))
        over_u = top_u + b[j + 15 * LANES] * bound - best_u
        over_v = top_v + b[j + 16 * LANES] * bound - best_v
        over_a = top_a + b[j + 17 * LANES] * bound - best_a
        flag = 1.0 if max(max(over_u, over_v), over_a) > 0.0 else 0.0
        b[j + 19 * LANES] = u0
        b[j + 20 * LANES] = v0
        b[j + 21 * LANES] = flag
        b[j] = u
        b[j + LANES] = v
        b[j + 12 * LANES] = best_u
        b[j + 13 * LANES] = best_v
        b[j + 14 * LANES] = best_a
        flagged += flag
    return flagged > 0.0


@compiled
def _open_flagged(b, count, a0, a1, dt, omega, zeta, work):  # type: ignore[no-untyped-def]
    """Look inside the step where a turning point could beat the peaks so far."""
    rate = (a1 - a0) / dt
    for j in range(count):
        if b[j + 21 * LANES] == 0.0:
            continue
        u0, v0, u, v = b[j + 19 * LANES], b[j + 20 * LANES], b[j], b[j + LANES]
        k, c = b[j + 10 * LANES], b[j + 11 * LANES]
        om, dz = omega[j], 2.0 * zeta[j]
        total0, total = k * u0 + c * v0, k * u + c * v
        w0, w = -a0 - total0, -a1 - total
        bound = abs(w0) + abs(rate + c * w0 + k * v0) / om
        sag = dt * dt / 8.0 * bound
        for which in range(3):
            if which == 0:
                top, lift, d0, d1, bend = max(abs(u0), abs(u)), sag, v0, v, om * sag
            elif which == 1:
                top, lift, d0, d1 = max(abs(v0), abs(v)), om * sag, w0, w
                bend = om * om * (1.0 + dz) * sag
            else:
                top, lift = max(abs(total0), abs(total)), k * (1.0 + dz) * sag
                d0, d1 = k * v0 + c * w0, k * v + c * w
                bend = om * k * (1.0 + dz * (1.0 + dz)) * sag
            best = b[j + (12 + which) * LANES]
            # a turning point needs a first derivative that changes sign, or one near enough to zero to touch it
            if top + lift > best and (d0 * d1 <= 0.0 or min(abs(d0), abs(d1)) <= bend):
                b[j + (12 + which) * LANES] = _open_step(u0, v0, a0, a1, dt, om, k, c, which, best, work)


@compiled
def peaks(a, dt, tail, matrices, omega, zeta, continuous, out):  # type: ignore[no-untyped-def]
    """Peaks of |u|, |u̇|, |ü + a| of every oscillator into `out` [n, 3]; `tail` zero samples follow the record."""
    b = np.zeros(_ROWS * LANES)
    work = np.zeros((5, _TERMS))
    n = omega.size
    for first in range(0, n, LANES):
        _load(b, first, matrices, omega, zeta, dt)
        count = min(LANES, n - first)
        a0 = a[0]
        for i in range(1, a.size + tail):
            a1 = a[i] if i < a.size else 0.0
            if not continuous:
                _advance(b, a0, a1)
            elif _advance_and_flag(b, a0, a1, (a1 - a0) / dt):
                _open_flagged(b, count, a0, a1, dt, omega[first:], zeta[first:], work)
            a0 = a1
        for j in range(count):
            for row in range(3):
                out[first + j, row] = b[j + (12 + row) * LANES]
