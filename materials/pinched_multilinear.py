"""Pinched multilinear law: four-point envelopes, reloading through a point, three kinds of damage.

On each side the envelope runs through four points (u, F) and stays at the last force. With δmax the largest
excursion on the side entered (its first point until it has gone further) and Fmax the force of the damaged
envelope there, the path is

    unloading   at the stiffness k·(1 − Dk), k the steepest slope of the envelope,
                to the force u_F·Fmax if u_F > 0 (past zero, on the side entered), or
                to the share −u_F of the force at the reversal if u_F < 0 (still on the side left);
    reloading   to the point (r_δ·δmax, r_F·Fmax), then to (δmax, Fmax), then along the envelope;
    never steeper than the unloading stiffness.

Damage D = g₁·d̃^g₃ + g₂·(E/Eₘ)^g₄ ≤ limit, separately for unloading stiffness (Dk), reloading deformation
(δmax·(1 + Dd)) and strength (envelope·(1 − Df)); d̃ is the largest |u| over the deformation of the fourth
point, the worse of both sides, E the energy of the excursions that ended, Eₘ the work of the envelope up to
its fourth points, mean of both sides. Before the first point of either side is passed there is no pinching.

Source: Lowes & Altoontash, Modeling reinforced-concrete beam-column joints subjected to cyclic loading, 2003
(rules and damage from memory). Our own: damage is brought up to date when the force passes zero; a partial
reversal unloads elastically and comes back to the path it left; the early end of unloading (u_F < 0) is a
share of the force at the reversal, and its path back to zero never passes above the path that came up. With
these the law never returns energy that was not put in, for any history.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import InputError, finite, within
from frame2d.kernels import OK, at, compiled, law_kernel
from frame2d.materials.law import Law
from frame2d.materials.walk import advance

# Parameters: three times g1..g4 and limit, E monotonic, then for each side k, r_δ, r_F, u_F, eight numbers of
# the envelope.
_ENERGY, _SIDE, _SIDE_SIZE = 15, 16, 12
# Memory: u, F, side, work of the excursion, ΣE, largest excursion of each side, ku of the side, points of the
# path, end of its pinched part, slope and zero of the early end of unloading and where that was laid, then
# the path.
_MEMORY_HEAD = 13
_MEMORY = _MEMORY_HEAD + 2 * 8


@compiled
def _damage(g, d, energy):  # type: ignore[no-untyped-def]
    """One damage index; g holds g1, g2, g3, g4, limit."""
    D = 0.0
    if g[0] > 0.0:
        D += g[0] * min(d, 1e6) ** g[2]
    if g[1] > 0.0 and energy > 0.0:
        D += g[1] * min(energy, 1e6) ** g[3]
    return min(D, g[4])


@compiled
def _envelope(x, q):  # type: ignore[no-untyped-def]
    """Undamaged envelope at x ≥ 0; q are the parameters of the side."""
    xa = fa = 0.0
    for i in range(4, 12, 2):
        if x < q[i]:
            return fa + (q[i + 1] - fa) * (x - xa) / (q[i] - xa)
        xa, fa = q[i], q[i + 1]
    return fa


@compiled
def _indices(p, m):  # type: ignore[no-untyped-def]
    """Damage of stiffness, reloading deformation and strength."""
    d = max(m[5] / p[_SIDE + 10], m[6] / p[_SIDE + _SIDE_SIZE + 10])
    energy = max(m[4], 0.0) / p[_ENERGY]
    return _damage(p, d, energy), _damage(at(p, 5), d, energy), _damage(at(p, 10), d, energy)


@compiled
def _target(q, largest, Dd, Df):  # type: ignore[no-untyped-def]
    """Deformation and force that reloading aims at."""
    x = max(largest, q[4]) * (1.0 + Dd)
    return x, (1.0 - Df) * _envelope(x, q)


@compiled
def _yielded(p, m):  # type: ignore[no-untyped-def]
    """Whether either side has passed its first point."""
    return m[5] > p[_SIDE + 4] or m[6] > p[_SIDE + _SIDE_SIZE + 4]


@compiled
def _enter(p, m1, side, ur):  # type: ignore[no-untyped-def]
    """Zero force at `ur` (in the direction entered): bring the damage up to date and lay the path ahead."""
    q = at(p, _SIDE if side > 0.0 else _SIDE + _SIDE_SIZE)
    path = at(m1, _MEMORY_HEAD)
    m1[4] += m1[3]
    m1[3] = 0.0
    Dk, Dd, Df = _indices(p, m1)
    k = q[0] * (1.0 - Dk)
    path[0], path[1] = ur, 0.0
    count, start, pinch = 1, ur, ur
    if _yielded(p, m1):
        x, F = _target(q, m1[5] if side > 0.0 else m1[6], Dd, Df)
        if ur < x:
            if q[3] > 0.0 and ur + q[3] * F / k < x:
                path[2], path[3] = ur + q[3] * F / k, q[3] * F
                count = 2
            if q[1] * x > path[2 * count - 2]:
                path[2 * count], path[2 * count + 1] = q[1] * x, q[2] * F
                count += 1
                pinch = q[1] * x
            path[2 * count], path[2 * count + 1] = x, F
            count += 1
            start = x
        else:
            path[2], path[3] = ur, (1.0 - Df) * _envelope(ur, q)
            count = 2
    for i in range(4, 12, 2):
        if q[i] > start:
            path[2 * count], path[2 * count + 1] = q[i], (1.0 - Df) * q[i + 1]
            count += 1
    m1[7], m1[8], m1[9], m1[10], m1[11], m1[12] = k, float(count), pinch, 0.0, 0.0, ur


@compiled
def _early_end(p, m1, side, x, f):  # type: ignore[no-untyped-def]
    """Slope and zero of the softer end of unloading, if the loading turned at (x, f) on its path."""
    other = at(p, _SIDE + _SIDE_SIZE if side > 0.0 else _SIDE)
    share = -other[3]
    k = m1[7]
    m1[10], m1[11], m1[12] = 0.0, 0.0, x
    if share <= 0.0 or f <= 0.0 or not _yielded(p, m1):
        return
    # The aim leaves out damage, so that it stays while this excursion goes on.
    target, F = _target(other, m1[6] if side > 0.0 else m1[5], 0.0, 0.0)
    fa = share * f
    xa = x - (1.0 - share) * f / k
    # Straight to the reloading point of the other side, but crossing zero beyond the pinched part just
    # passed.
    zero = xa - fa * (xa + other[1] * target) / (fa + other[2] * F)
    zero = min(max(zero, m1[9]), xa - fa / k)
    m1[10], m1[11] = fa / (xa - zero), zero


@compiled
def _returned(x, f, k, soft, zero):  # type: ignore[no-untyped-def]
    """Work that unloading from (x, f) returns."""
    if soft <= 0.0 or k - soft <= 1e-9 * k:
        return 0.5 * f * f / k
    corner = min(max(soft * (k * (x - zero) - f) / (k - soft), 0.0), f)
    return 0.5 * (f * f - corner * corner) / k + 0.5 * corner * corner / soft


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Unload, perhaps through zero force, and reload."""
    for i in range(_MEMORY):
        m1[i] = m0[i]
    side = m0[2]
    if side == 0.0:
        side = 1.0 if u > 0.0 else -1.0
        _enter(p, m1, side, 0.0)
    x, f, end = side * m0[0], side * m0[1], side * u
    k, soft, zero = m1[7], m1[10], m1[11]
    slope = k
    if end < x:
        before = _returned(x, f, k, soft, zero)
        if soft <= 0.0:
            zero = x - f / k
        if end < zero:
            m1[3] -= before
            side, x, f, end = -side, -min(zero, x), 0.0, -end
            _enter(p, m1, side, x)
            k, soft, zero = m1[7], m1[10], m1[11]
            slope = k
        else:
            f += k * (end - x)
            if soft > 0.0 and f < soft * (end - zero):
                f = soft * (end - zero)
                slope = soft
            f = max(f, 0.0)
            m1[3] += _returned(end, f, k, soft, zero) - before
            x = end
    if end > x:
        f, slope, work, touch, touch_f = advance(x, f, end, k, at(m1, _MEMORY_HEAD), int(m1[8]), 0.0)
        m1[3] += work
        if side > 0.0:
            m1[5] = max(m1[5], end)
        else:
            m1[6] = max(m1[6], end)
        if touch >= m1[12]:  # on a part retraced after a partial reversal it stays as it was
            _early_end(p, m1, side, touch, touch_f)
    m1[0], m1[1], m1[2] = u, side * f, side
    out[0] = side * f
    out[1] = slope
    out[2] = 0.0
    out[3] = _returned(end, f, k, m1[10], m1[11])
    return OK


def _envelope_of(thing: str, points: Any, sign: float) -> tuple[tuple[float, float], ...]:
    try:
        listed = tuple((finite(thing, u), finite(thing, F)) for u, F in points)
    except (TypeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{thing} is {points!r}; allowed: four points (u, F)") from None
    us, Fs = (0.0, *(sign * u for u, _ in listed)), tuple(sign * F for _, F in listed)
    if (
        len(listed) != 4
        or min(np.diff(us)) <= 0.0
        or min(Fs[:3], default=0.0) <= 0.0
        or min(Fs, default=0.0) < 0.0
    ):
        raise InputError(
            f"{thing} is {points!r}; allowed: four points (u, F) with growing |u|, on one side, of which only"
            " the last may have no force. Likely mistake: a lost minus sign, or 0 as first point"
        )
    return listed


def _slopes(points: tuple[tuple[float, float], ...]) -> np.ndarray:
    slopes, ua, Fa = [], 0.0, 0.0  # plain numbers: a fit makes a hundred thousand of these laws
    for u, F in points:
        slopes.append((abs(F) - Fa) / (abs(u) - ua))
        ua, Fa = abs(u), abs(F)
    return np.array(slopes)


def _pair_of(thing: str, values: Any, low: float, high: float, hint: str) -> tuple[float, float]:
    try:
        plus, minus = values
    except (TypeError, ValueError):
        raise InputError(
            f"{thing} is {values!r}; allowed: two numbers, for the positive and the negative side"
        ) from None
    return within(thing, plus, low, high, hint=hint), within(thing, minus, low, high, hint=hint)


@dataclass(frozen=True)
class PinchedMultilinear(Law):
    """Envelopes of four points (u, F) a side, the `negative` ones with their signs.

    Pairs are (positive, negative): `reload_deformation` r_δ in [0, 0.99] and `reload_force` r_F in [0, 1]
    place the point of reloading, `unload_force` u_F in [-0.9, r_F] ends the unloading towards the side it is
    given for. Each damage is (g1, g2, g3, g4, limit). Typical (from memory): r_δ 0.2-0.7, r_F 0.05-0.5, u_F
    -0.5-0.1.
    """

    positive: tuple[tuple[float, float], ...]
    negative: tuple[tuple[float, float], ...]
    reload_deformation: tuple[float, float] = (0.5, 0.5)
    reload_force: tuple[float, float] = (0.3, 0.3)
    unload_force: tuple[float, float] = (0.0, 0.0)
    stiffness_damage: tuple[float, float, float, float, float] = (0.0, 0.0, 1.0, 1.0, 0.0)
    deformation_damage: tuple[float, float, float, float, float] = (0.0, 0.0, 1.0, 1.0, 0.0)
    strength_damage: tuple[float, float, float, float, float] = (0.0, 0.0, 1.0, 1.0, 0.0)

    kernel = kernel
    recoverable = "the work returned on unloading from here to zero force along the law's own path"

    def __post_init__(self) -> None:
        name = "PinchedMultilinear"
        for side, sign in (("positive", 1.0), ("negative", -1.0)):
            object.__setattr__(self, side, _envelope_of(f"{name}.{side}", getattr(self, side), sign))
        ratio = "a ratio to the largest excursion, on either side a number between 0 and 1"
        for field, low, high, hint in (
            ("reload_deformation", 0.0, 0.99, ratio),
            ("reload_force", 0.0, 1.0, ratio),
            ("unload_force", -0.9, 1.0, "a share of a force"),
        ):
            object.__setattr__(
                self, field, _pair_of(f"{name}.{field}", getattr(self, field), low, high, hint)
            )
        for i, left in ((0, "negative"), (1, "positive")):
            share = self.unload_force[i]
            if share > self.reload_force[i]:
                raise InputError(
                    f"{name}.unload_force is {share:g} beside a reload_force of {self.reload_force[i]:g};"
                    " allowed: at most as much. Likely mistake: the two swapped"
                )
            if share < 0.0 and np.any(
                np.diff(_slopes(getattr(self, left))) > 1e-9 * np.max(_slopes(getattr(self, left)))
            ):
                raise InputError(
                    f"{name}.unload_force is {share:g} but the {left} envelope grows steeper;"
                    " allowed: 0 or more for such an envelope, else unloading returns energy never put in"
                )
        for field, limit in (
            ("stiffness_damage", 0.99),
            ("deformation_damage", 10.0),
            ("strength_damage", 0.99),
        ):
            numbers = getattr(self, field)
            if not isinstance(numbers, tuple | list) or len(numbers) != 5:
                raise InputError(
                    f"{name}.{field} is {numbers!r}; allowed: five numbers (g1, g2, g3, g4, limit)"
                )
            for i, (low, high) in enumerate(
                ((0.0, 1e3), (0.0, 1e3), (0.01, 10.0), (0.01, 10.0), (0.0, limit))
            ):
                within(f"{name}.{field}[{i}]", numbers[i], low, high)
            object.__setattr__(self, field, tuple(float(number) for number in numbers))

    def parameters(self) -> np.ndarray:
        """Damages, monotonic energy, both sides."""
        numbers = [*self.stiffness_damage, *self.deformation_damage, *self.strength_damage]
        sides: list[float] = []
        energy = 0.0
        for i, points in enumerate((self.positive, self.negative)):
            u, F = np.abs(np.array([(0.0, 0.0), *points])).T
            energy += 0.5 * float(np.sum(0.5 * (F[1:] + F[:-1]) * np.diff(u)))
            sides += [
                float(np.max(_slopes(points))),
                self.reload_deformation[i],
                self.reload_force[i],
                self.unload_force[i],
            ]
            sides += np.abs(np.array(points)).ravel().tolist()
        return np.array([*numbers, energy, *sides])

    def initial_memory(self) -> np.ndarray:
        """Virgin, no path; the stiffness is that of the stiffer side."""
        memory = np.zeros(_MEMORY)
        memory[7] = self.stiffness
        return memory

    @staticmethod
    def dissipated(memory: np.ndarray) -> float:
        """Energy of the excursions that ended, J."""
        return float(memory[4])

    @property
    def stiffness(self) -> float:
        return float(max(np.max(_slopes(self.positive)), np.max(_slopes(self.negative))))

    @classmethod
    def example(cls) -> "PinchedMultilinear":
        return cls(
            positive=((0.002, 8e4), (0.01, 1.2e5), (0.04, 1.4e5), (0.08, 0.6e5)),
            negative=((-0.003, -7e4), (-0.012, -1e5), (-0.03, -1.1e5), (-0.06, -0.5e5)),
            reload_deformation=(0.5, 0.4),
            reload_force=(0.25, 0.3),
            unload_force=(0.05, -0.15),
            stiffness_damage=(0.3, 0.1, 0.5, 0.5, 0.6),
            deformation_damage=(0.05, 0.1, 1.0, 1.0, 0.3),
            strength_damage=(0.1, 0.2, 1.0, 1.0, 0.6),
        )
