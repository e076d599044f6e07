"""One law in rate form, its states integrated with the displacement by first-order generalized-alpha.

    ṡ(n+αm) = g(u(n+αf), v(n+αf), s(n+αf)),    s' = s + Δt·[(1−γ)·ṡ + γ·ṡ'],    F' = F(u', v', s')

The states are eliminated here, by Newton iteration with numerical derivatives of g; the tangent dF'/du' follows from
the same equations. Source: Jansen, Whiting & Hulbert 2000, applied to the states of one device.
"""

from typing import Any

import numpy as np

from frame2d.elements.member import Part
from frame2d.kernels import NOT_CONVERGED, OK, at, call_law, compiled, member_kernel
from frame2d.materials.law import Law

#: Parameters before the law's own: kernel, number of states, αm, αf, γ, size of the law's memory.
HEAD = 6
#: Step of the numerical derivatives, relative to the size of a state of order one or to the motion of the step.
NUDGE = 1e-7
#: Relative change of the states at which their iteration ends, and its longest run.
TIGHT, MOST = 1e-12, 30


@compiled
def eliminate(a: Any, b: Any, n: int) -> bool:
    """Solve the small dense system `a` (row by row) in place, solution in `b`, with pivoting; false if singular."""
    for k in range(n):
        best = k
        for i in range(k + 1, n):
            if abs(a[i * n + k]) > abs(a[best * n + k]):
                best = i
        if a[best * n + k] == 0.0:
            return False
        for j in range(n):
            a[k * n + j], a[best * n + j] = a[best * n + j], a[k * n + j]
        b[k], b[best] = b[best], b[k]
        for i in range(k + 1, n):
            factor = a[i * n + k] / a[k * n + k]
            for j in range(k, n):
                a[i * n + j] -= factor * a[k * n + j]
            b[i] -= factor * b[k]
    for back in range(n):
        k = n - 1 - back
        for j in range(k + 1, n):
            b[k] -= a[k * n + j] * b[j]
        b[k] /= a[k * n + k]
    return True


@compiled
def differentiate(
    p: Any, law: Any, middle: Any, um: float, vm: float, dt: float, out: Any, rates: Any, slope: Any, shifted: Any,
    matrix: Any, n: int, af: float, stiff: float,
) -> None:  # fmt: skip
    """stiff·I − af·∂g/∂s at the middle states by one-sided differences; `rates` is g there."""
    for j in range(n):
        for i in range(n):
            shifted[i] = middle[i]
        # Towards zero, so that no limit is crossed.
        nudge = -NUDGE if middle[j] > 0.0 else NUDGE
        shifted[j] += nudge
        call_law(p[0], law, shifted, um, vm, dt, out, slope)
        for i in range(n):
            matrix[i * n + j] = -af * (slope[i] - rates[i]) / nudge
        matrix[j * n + j] += stiff


@member_kernel
def rate_spring(
    p: Any, m0: Any, d: Any, w: Any, dt: float, c: float, scratch: Any, f: Any, k: Any, e: Any, m1: Any
) -> int:
    """Memory: stress-free deformation, the law's memory (states first, deformation last), ṡ, deformation, rate."""
    n, size = int(p[1]), int(p[5])
    am, af, gamma = p[2], p[3], p[4]
    law, old = at(p, HEAD), at(m0, 1)
    out, middle, slope = at(scratch, 0), at(scratch, 12), at(scratch, 16)
    shifted, matrix, right, rates = at(scratch, 20), at(scratch, 24), at(scratch, 40), at(scratch, 44)
    state, speed = at(m1, 1), at(m1, 1 + size)
    speed0, u0, w0 = at(m0, 1 + size), m0[1 + size + n], m0[2 + size + n]
    u = d[0] - m0[0]
    m1[0] = m0[0]
    m1[1 + size + n], m1[2 + size + n] = u, w[0]
    state[size - 1] = u
    for i in range(n):
        state[i], speed[i] = old[i], speed0[i]
        right[i] = 0.0
    if dt > 0.0:
        um, vm = u0 + af * (u - u0), w0 + af * (w[0] - w0)
        # d ṡ(n+αm)/ds', and the nudge of (u, v) along the step.
        stiff = am / (gamma * dt)
        converged = n == 0
        for _ in range(MOST):
            for i in range(n):
                middle[i] = old[i] + af * (state[i] - old[i])
            call_law(p[0], law, middle, um, vm, dt, out, rates)
            differentiate(p, law, middle, um, vm, dt, out, rates, slope, shifted, matrix, n, af, stiff)
            largest, change = 1.0, 0.0
            for i in range(n):
                right[i] = rates[i] - speed0[i] * (1.0 - am / gamma) - stiff * (state[i] - old[i])
            if not eliminate(matrix, right, n):
                return NOT_CONVERGED
            for i in range(n):
                state[i] += right[i]
                largest = max(largest, abs(state[i]))
                change = max(change, abs(right[i]))
            if not change < 1e6 * largest:
                return NOT_CONVERGED
            if change <= TIGHT * largest:
                converged = True
                break
        if not converged:
            return NOT_CONVERGED
        for i in range(n):
            speed[i] = speed0[i] * (1.0 - 1.0 / gamma) + (state[i] - old[i]) / (gamma * dt)
            middle[i] = old[i] + af * (state[i] - old[i])
        # ds'/du' with dv' = c·du'.
        call_law(p[0], law, middle, um, vm, dt, out, rates)
        differentiate(p, law, middle, um, vm, dt, out, rates, slope, shifted, matrix, n, af, stiff)
        nudge = NUDGE * (abs(vm) + abs(w[0] - w0) + 1e-300) / (af * max(c, 1.0 / dt))
        if vm < 0.0:
            nudge = -nudge
        call_law(p[0], law, middle, um + af * nudge, vm + af * c * nudge, dt, out, slope)
        for i in range(n):
            right[i] = (slope[i] - rates[i]) / nudge
        if vm == 0.0 and w[0] == w0 and u == u0:
            # At rest from rest the derivative is one-sided: g is of degree one in v.
            call_law(p[0], law, middle, um, af * c, dt, out, right)
        if not eliminate(matrix, right, n):
            return NOT_CONVERGED
    call_law(p[0], law, state, u, w[0], dt, out, rates)
    f[0] = out[0]
    k[0] = out[1] + c * out[2]
    for i in range(n):
        k[0] += out[4 + i] * right[i]
    e[0] = out[3]
    return OK


def rate_part(part: Part, alpha_m: float, alpha_f: float, gamma: float) -> tuple[np.ndarray, np.ndarray]:
    """Parameters and virgin memory of `rate_spring` in place of a spring part whose law has a rate form."""
    law: Law = part.law
    assert law.rate is not None
    head = [float(law.rate.address), float(law.states), alpha_m, alpha_f, gamma, float(part.memory.size - 1)]
    return np.concatenate([head, law.parameters()]), np.concatenate([part.memory, np.zeros(law.states + 2)])
