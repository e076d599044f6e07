"""The linear oscillator under piecewise-linear ground acceleration: its exact step, and its power series inside one.

    ü + 2ζω·u̇ + ω²·u = −a(t),  a linear between samples,  u = u̇ = 0 at the first sample

Between two samples the response is known exactly (Nigam & Jennings 1969, Calculation of response spectra from
strong-motion earthquake records, Bull. Seism. Soc. Am. 59), so that samples carry no error of integration. The
coefficients are taken from one matrix exponential of the system augmented by its load (Van Loan 1978, Computing
integrals involving the matrix exponential), which keeps its digits for ωΔt → 0, where the closed form cancels.
"""

from typing import Any

import numpy as np

from frame2d.kernels import compiled


def step_matrices(stiffness: np.ndarray, damping: np.ndarray, dt: float) -> np.ndarray:
    """Exact step of v̇ = −k·u − c·v − a with linear a: rows (u, v) by columns (u₀, v₀, a₀, a₁), shape [n, 2, 4].

    `stiffness` k in 1/s², `damping` c in 1/s, per unit mass, any sign; `dt` in s.
    """
    k, c = np.broadcast_arrays(np.asarray(stiffness, float), np.asarray(damping, float))
    out = np.empty((k.size, 2, 4))
    _fill_steps(k.astype(float), c.astype(float), dt, out)
    return out


@compiled
def _fill_steps(k, c, dt, out):  # type: ignore[no-untyped-def]
    """Exponential of each system by its power series on a 2ˢ-th of the step, squared s times.

    (A general routine pays more for its calls to linear algebra than these 4 by 4 matrices cost.)
    """
    system, power, square = np.zeros((4, 4)), np.zeros((4, 4)), np.zeros((4, 4))
    for i in range(k.size):
        scale = max(np.sqrt(abs(k[i])), 1.0 / dt)  # of u, so that ω·u, v, a·Δt stand beside each other
        halvings = 0
        h = dt
        while h * (scale + abs(c[i]) + 1.0 / dt) > 1.0:
            h *= 0.5
            halvings += 1
        system[0, 1] = scale * h
        system[1, 0] = -k[i] * h / scale
        system[1, 1] = -c[i] * h
        system[1, 2] = -h  # the load is carried as a and its increment over the whole step
        system[2, 3] = h / dt
        power[:] = np.eye(4)
        for n in range(18, 0, -1):  # Horner: 1 + A(1 + A/2(1 + A/3(…
            _multiply(system, power, square)
            for row in range(4):
                for column in range(4):
                    power[row, column] = square[row, column] / n + (1.0 if row == column else 0.0)
        for _ in range(halvings):
            _multiply(power, power, square)
            power[:] = square
        for column in range(4):
            out[i, 0, column] = power[0, column] / scale
            out[i, 1, column] = power[1, column]
        out[i, 0, 0] *= scale
        out[i, 1, 0] *= scale
        for row in range(2):
            out[i, row, 2] -= out[i, row, 3]


@compiled
def _multiply(left, right, out):  # type: ignore[no-untyped-def]
    """Product of two 4 by 4 matrices."""
    for row in range(4):
        for column in range(4):
            total = 0.0
            for n in range(4):
                total += left[row, n] * right[n, column]
            out[row, column] = total


@compiled
def series(u, v, a0, slope, k, c, coefficients, size):  # type: ignore[no-untyped-def]
    """Power series of u(τ) from (u, v) at τ = 0 under a₀ + slope·τ."""
    coefficients[0] = u
    coefficients[1] = v
    coefficients[2] = -0.5 * (a0 + c * v + k * u)
    coefficients[3] = -(slope + 2.0 * c * coefficients[2] + k * v) / 6.0
    for i in range(4, size):
        coefficients[i] = -(c * (i - 1) * coefficients[i - 1] + k * coefficients[i - 2]) / (i * (i - 1))


@compiled
def value(f, size, t):  # type: ignore[no-untyped-def]
    """The series at t."""
    y = f[size - 1]
    for i in range(size - 2, -1, -1):
        y = y * t + f[i]
    return y


@compiled
def differentiate(f, size, g):  # type: ignore[no-untyped-def]
    """Series of the first derivative, one term shorter."""
    for i in range(size - 1):
        g[i] = (i + 1) * f[i + 1]


@compiled
def root(f, g, size, low, high):  # type: ignore[no-untyped-def]
    """Zero in [low, high] of the series `f` (derivative `g`) that changes sign there: Newton kept in the bracket."""
    rising = value(f, size, high) > 0.0
    t = 0.5 * (low + high)
    for _ in range(60):
        y = value(f, size, t)
        if (y > 0.0) == rising:
            high = t
        else:
            low = t
        slope = value(g, size - 1, t)
        following = t - y / slope if slope != 0.0 else low
        if not (low < following < high):
            following = 0.5 * (low + high)
        if abs(following - t) <= 1e-9 * high:  # a peak is flat: its height is then known to 1e-18
            return following
        t = following
    return t


@compiled
def history(a, m, out):  # type: ignore[no-untyped-def]
    """u and u̇ at the samples of `a` into `out` [2, samples], by the step matrices `m` [2, 4]."""
    u, v = 0.0, 0.0
    out[0, 0] = 0.0
    out[1, 0] = 0.0
    for i in range(1, a.size):
        following = m[0, 0] * u + m[0, 1] * v + m[0, 2] * a[i - 1] + m[0, 3] * a[i]
        v = m[1, 0] * u + m[1, 1] * v + m[1, 2] * a[i - 1] + m[1, 3] * a[i]
        u = following
        out[0, i] = u
        out[1, i] = v


def step_of(periods: Any, damping: Any, dt: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """ω (rad/s), ζ and step matrices of oscillators of the given periods (s) and damping ratios."""
    periods, zeta = np.broadcast_arrays(np.asarray(periods, float), np.asarray(damping, float))
    omega = 2.0 * np.pi / periods.ravel()
    zeta = np.ascontiguousarray(zeta.ravel())
    return omega, zeta, step_matrices(omega**2, 2.0 * zeta * omega, dt)
