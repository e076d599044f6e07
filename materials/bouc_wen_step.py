"""Steps of the Bouc-Wen family by the trapezoidal rule in the deformation, with their exact derivatives.

Everything is written in w = s·z, where s = ±1 is the direction of motion, so that w > 0 is loading and w < 0
unloading, and in lengths h = |Δx| of the normalised deformation x = u/uy:

    dw/d|x| = G(w, ε) = h(w, ε)·[A − ν|w|ⁿ(γ + β·sgn w)]/η,    dε/d|x| = w

A step solves w₁ = w₀ + ½h(G₀ + G₁), ε₁ = ε₀ + ½h(w₀ + w₁): second order, where backward Euler is first. G₁
takes its wear at the second-order predictor ε₀ + h(w₀ + ½hG₀), so that one unknown is left.
"""

import math
from typing import Any

from frame2d.kernels import compiled, inlined
from frame2d.materials.power import power, power_near, root_of

#: Share of the virgin slope that A never falls below (own rule: the equation has no meaning for A ≤ 0).
A_FLOOR = 0.01
#: Longest division of one increment; a larger one is a wild trial of the solver, and gets coarser sub-steps.
MOST_SUBSTEPS = 4000


@compiled
def division(total: float, longest: float) -> tuple[int, float, float]:
    """Divide `total` into `count` equal sub-steps and a last, shorter one: continuous in `total`."""
    if total <= longest:
        return 0, longest, total
    count = int(total / longest) if total < MOST_SUBSTEPS * longest else MOST_SUBSTEPS
    length = longest if total < MOST_SUBSTEPS * longest else total / MOST_SUBSTEPS
    return count, length, max(total - count * length, 0.0)


@inlined
def square_step(w0: float, h: float, load: float, unload: float) -> tuple[float, float, bool]:
    """`plain_step` for n = 2, copied into its caller."""
    G0 = 1.0 - (load if w0 > 0.0 else unload) * w0 * w0
    B = w0 + 0.5 * h * (G0 + 1.0)
    psi = load if B > 0.0 else unload
    root = 1.0 + 2.0 * h * psi * B
    if root <= 0.0:
        return w0, 1.0, False
    steep = math.sqrt(root)  # 1 + 2cy, the derivative of the left side, is the root of the discriminant
    w = 2.0 * B / (1.0 + steep)
    return w, 0.5 * (G0 + 1.0 - psi * w * w) / steep, True


@compiled
def plain_step(w0: float, h: float, n: float, load: float, unload: float) -> tuple[float, float, bool]:
    """Solve one step of G(w) = 1 − ψ|w|ⁿ, ψ = `load` where w > 0 and `unload` where w < 0.

    Returns w₁, dw₁/dh and whether there is a solution. The sign of w₁ is known beforehand; what remains is
    y + c·yⁿ = B for y = |w₁|, in closed form for n = 1 and 2.
    """
    if n == 2.0:
        return square_step(w0, h, load, unload)
    G0 = 1.0 - (load if w0 > 0.0 else unload) * power(abs(w0), n)
    B = w0 + 0.5 * h * (G0 + 1.0)
    sign = 1.0 if B > 0.0 else -1.0
    psi = load if B > 0.0 else unload
    B = abs(B)
    c = 0.5 * h * psi * sign
    if n == 1.0:
        y = B / (1.0 + c)
        rise = 1.0
    else:
        y = B
        rise = 0.0
        for _ in range(60):
            rise = power(y, n - 1.0)
            change = (y + c * rise * y - B) / (1.0 + c * n * rise)
            y -= change
            if abs(change) <= 1e-9 * B:
                break
        rise = power(y, n - 1.0)
    slope = 1.0 + c * n * rise
    if not slope > 0.0:
        return w0, 1.0, False
    G1 = 1.0 - psi * rise * y
    return sign * y, 0.5 * (G0 + G1) / slope, True


@compiled
def wear(p: Any, eps: float) -> tuple[float, float, float, float, float, float]:
    """A, ν, 1/η, ζ₁, 1/ζ₂ and q·zu at ε; `p` as in `BoucWen.parameters`."""
    spent = max(eps, 0.0)
    A, nu, soft = max(1.0 - p[6] * spent, A_FLOOR), 1.0 + p[7] * spent, 1.0 / (1.0 + p[8] * spent)
    if p[9] == 0.0:
        return A, nu, soft, 0.0, 1.0, 0.0
    zeta1 = p[9] * (1.0 - math.exp(-p[11] * spent))
    narrow = 1.0 / ((p[12] + p[13] * spent) * (p[14] + zeta1))
    shift = 0.0
    if p[10] > 0.0:
        ratio = A / (nu * (p[4] + p[5]))
        shift = p[10] * (math.sqrt(ratio) if p[3] == 2.0 else ratio ** (1.0 / p[3]))
    return A, nu, soft, zeta1, narrow, shift


@compiled
def worn_on(
    p: Any, worn: tuple[float, float, float, float, float, float], eps: float
) -> tuple[float, float, float, float, float, float]:
    """As `wear` at ε, from `worn` a little before: the root in q·zu by its series where it suffices."""
    spent = max(eps, 0.0)
    A, nu, soft = max(1.0 - p[6] * spent, A_FLOOR), 1.0 + p[7] * spent, 1.0 / (1.0 + p[8] * spent)
    if p[9] == 0.0:
        return A, nu, soft, 0.0, 1.0, 0.0
    change = A * worn[1] / (nu * worn[0]) - 1.0
    if not abs(change) < 0.005:
        return wear(p, eps)
    zeta1 = p[9] * (1.0 - math.exp(-p[11] * spent))
    narrow = 1.0 / ((p[12] + p[13] * spent) * (p[14] + zeta1))
    return A, nu, soft, zeta1, narrow, worn[5] * root_of(change, 1.0 / p[3])


@compiled
def slope(
    p: Any, worn: tuple[float, float, float, float, float, float], w: float, loading: bool
) -> tuple[float, float]:
    """G and dG/dw at `worn`, the result of `wear`.

    `loading` is False on the unloading curve, also where a stiffened law retraces it upwards.
    """
    return slope_of(p, worn, w, loading, power(abs(w), p[3] - 1.0))


@compiled
def slope_of(
    p: Any, worn: tuple[float, float, float, float, float, float], w: float, loading: bool, rise: float
) -> tuple[float, float]:
    """As `slope`, with `rise` = |w|ⁿ⁻¹ at hand."""
    A, nu, soft, zeta1, narrow, shift = worn
    sigma = 1.0 if loading else -1.0
    y = abs(w)
    c = nu * (p[5] + p[4] * sigma)
    G = (A - c * rise * y) * soft
    G_y = -c * p[3] * rise * soft
    if zeta1 > 0.0:
        t = (sigma * y - shift) * narrow
        bell = zeta1 * math.exp(-t * t)
        G_y = (1.0 - bell) * G_y + 2.0 * bell * t * sigma * narrow * G
        G *= 1.0 - bell
    return G, (G_y if w >= 0.0 else -G_y)


@compiled
def wearing(
    p: Any,
    worn: tuple[float, float, float, float, float, float],
    eps: float,
    w: float,
    loading: bool,
    rise: float,
) -> float:
    """dG/dε; `rise` = |w|ⁿ⁻¹."""
    if not eps > 0.0:
        return 0.0
    A, nu, soft, zeta1, narrow, shift = worn
    A_eps = -p[6] if A > A_FLOOR else 0.0
    sigma = 1.0 if loading else -1.0
    y = abs(w)
    c = (p[5] + p[4] * sigma) * rise * y
    G = (A - nu * c) * soft
    G_eps = (A_eps - p[7] * c - G * p[8]) * soft
    if p[9] == 0.0:
        return G_eps
    zeta1_eps = p[11] * (p[9] - zeta1)
    zeta2_eps = p[13] * (p[14] + zeta1) + (p[12] + p[13] * eps) * zeta1_eps
    shift_eps = shift / p[3] * (A_eps / A - p[7] / nu)
    t = (sigma * y - shift) * narrow
    bell = math.exp(-t * t)
    bell_eps = bell * (zeta1_eps + 2.0 * zeta1 * t * (shift_eps + t * zeta2_eps) * narrow)
    return (1.0 - zeta1 * bell) * G_eps - bell_eps * G


@compiled
def degrading_step(
    p: Any, w0: float, eps0: float, h: float, retrace: bool, tangent: bool
) -> tuple[float, float, float, bool]:
    """Solve one step with degradation and pinching by Newton's method kept between bounds.

    Returns w₁, ε₁, dw₁/dh (0 unless `tangent`) and whether it converged. With `retrace` the unloading curve is
    followed on both sides.
    """
    m = p[3] - 1.0
    rise = power(abs(w0), m)
    worn = wear(p, eps0)
    G0, G_w = slope_of(p, worn, w0, w0 > 0.0 and not retrace, rise)
    ahead = eps0 + h * (w0 + 0.5 * h * G0)
    worn = worn_on(p, worn, ahead)
    low, high = -math.inf, math.inf
    w, G, residual, known = w0, G0, -h * G0, w0
    for _ in range(80):
        derivative = 1.0 - 0.5 * h * G_w
        change = -residual / derivative if derivative > 0.0 else -residual
        bound = 1e-6
        if w + change < low or w + change > high:
            change = 0.5 * (low + high) - w
            bound = 1e-15
        w += change
        loading = w > 0.0 and not retrace
        if abs(change) <= bound * (abs(w) + h):
            if not tangent:
                return w, eps0 + 0.5 * h * (w0 + w), 0.0, derivative > 0.0
            G += G_w * change
            rise = power_near(abs(w), m, abs(known), rise)
            G_eps = wearing(p, worn, ahead, w, loading, rise)
            rate = (0.5 * (G0 + G) + 0.5 * h * G_eps * (w0 + h * G0)) / derivative
            return w, eps0 + 0.5 * h * (w0 + w), rate, derivative > 0.0
        rise = power_near(abs(w), m, abs(known), rise)
        known = w
        G, G_w = slope_of(p, worn, w, loading, rise)
        residual = w - w0 - 0.5 * h * (G0 + G)
        if residual > 0.0:
            high = w
        else:
            low = w
    return w0, eps0, 0.0, False


@compiled
def stored(p: Any, z: float, eps: float) -> float:
    """Work that unloading to z = 0 would return, ∫₀^|z| y/G₋(y) dy (three Gauss points, unless G₋ = 1)."""
    y = abs(z)
    worn = wear(p, eps)
    if p[9] == 0.0 and p[4] == p[5]:
        return 0.5 * y * y / (worn[0] * worn[2])
    total = 0.0
    # Gauss-Legendre abscissae and weights: Abramowitz & Stegun 1964, table 25.4.
    for x, weight in ((0.1127016653792583, 5.0 / 18.0), (0.5, 8.0 / 18.0), (0.8872983346207417, 5.0 / 18.0)):
        G = slope(p, worn, -y * x, False)[0]
        # Inadmissible parameters can make G₋ vanish; the virgin slope then stands for it.
        total += weight * x / (G if G > 1e-3 else 1.0)
    return total * y * y
