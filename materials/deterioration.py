"""Laws that deteriorate with the energy they dissipate: bilinear, peak-oriented and pinching reloading.

Backbone of each side: elastic (k) up to Fy, hardening to the cap (Fc), softening, residual force, ultimate
deformation. An excursion is the path between two zero forces, Eᵢ its work. At each zero force, with βᵢ =
[Eᵢ/(Eₜ − Σⱼ≤ᵢEⱼ)]^c and a reference energy Eₜ = γ·Fy·δy of its own for each mode (β = 1 once Eₜ is spent),
the side that is entered loses

    basic strength        Fy ← (1 − β)·Fy, hardening slope likewise
    post-capping strength the softening line moves in: Fref ← (1 − β)·Fref, its force at zero deformation
    reloading             target deformation ← (1 + β)·target (not in the bilinear law)

and both sides lose unloading stiffness, ku ← (1 − β)·ku.

Reloading is never steeper than ku. Bilinear: to the backbone itself, whose hardening line goes on to the left
(kinematic hardening), but never above the smallest force reached while softening. Peak-oriented: straight to
the target, the largest deformation so far on the side entered, or its yield point. Pinching: first to the
break point ((1 − kd)·ur, kf·F*), with ur the deformation at zero force and F* the force at the target;
without break point if ur lies on the side entered.

Source: Ibarra, Medina & Krawinkler, Hysteretic models that incorporate strength and stiffness deterioration,
2005; parameters in the manner of Lignos & Krawinkler 2011 (both from memory). Unlike the paper, the unloading
stiffness changes at zero force and not at the reversal: then no energy is returned that was not there, for
any history. Our own additions: force drops from the ultimate deformation on at the slope −k, the unloading
stiffness keeps at least 1 % of k, the residual force is never above the deteriorated Fy.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from frame2d.errors import InputError, positive, within
from frame2d.kernels import OK, at, compiled, law_kernel
from frame2d.materials.law import Law
from frame2d.materials.walk import advance, insert

NEVER = 1e300

# Parameters: rule, kf, kd, c, four Et, then for each side k, Fy, Ks, Fref, Kc, Fr, ultimate, rate.
_BILINEAR, _PEAK, _PINCHING = 0.0, 1.0, 2.0
_SIDE, _SIDE_SIZE = 8, 8
# Memory: u, F, side, work of the excursion, ΣE, ku/k, points of the path, its last slope, then for each side
# Fy, Ks, Fref, target, softening limit; then the path.
_MSIDE, _MSIDE_SIZE, _PATH = 8, 5, 18
_MEMORY = _PATH + 2 * 11


@compiled
def _backbone(x, q, s):  # type: ignore[no-untyped-def]
    """Force of the deteriorated backbone; q parameters and s memory of the side."""
    k, Fy = q[0], s[0]
    at_x = min(x, q[6])
    F = min(Fy + s[1] * (at_x - Fy / k), s[2] + q[4] * at_x)
    F = min(max(F, min(q[5], Fy)), s[4])
    return max(F - k * (x - at_x), 0.0)


@compiled
def _kink(path, count, x, start, q, s):  # type: ignore[no-untyped-def]
    """Add the point of the backbone at x if it lies ahead of `start` and before the ultimate deformation."""
    if start < x < q[6]:
        return insert(path, 1, count, x, _backbone(x, q, s))
    return count


@compiled
def _append_backbone(path, count, start, q, s):  # type: ignore[no-untyped-def]
    """Points of the backbone beyond `start`; returns their number and the slope after the last."""
    k, Kc, Fy, Ks, Fref, limit = q[0], q[4], s[0], s[1], s[2], s[4]
    Fr = min(q[5], Fy)
    if Ks - Kc > 0.0:
        count = _kink(path, count, (Fref - Fy + Ks * Fy / k) / (Ks - Kc), start, q, s)
    if Ks > 0.0:
        count = _kink(path, count, (Fr - Fy) / Ks + Fy / k, start, q, s)
        count = _kink(path, count, (limit - Fy) / Ks + Fy / k, start, q, s)
    if Kc < 0.0:
        count = _kink(path, count, (Fr - Fref) / Kc, start, q, s)
        count = _kink(path, count, (limit - Fref) / Kc, start, q, s)
    ultimate = q[6]
    if ultimate < NEVER:
        F = _backbone(ultimate, q, s)
        if start < ultimate:
            path[2 * count], path[2 * count + 1] = ultimate, F
            count += 1
        if start < ultimate + F / k:
            path[2 * count], path[2 * count + 1] = ultimate + F / k, 0.0
            count += 1
        return count, 0.0
    return count, (Ks if Fref >= NEVER and limit >= NEVER else 0.0)


@compiled
def _share(E, spent, Et, c):  # type: ignore[no-untyped-def]
    """β of one mode."""
    if Et <= 0.0:
        return 0.0
    left = Et - spent
    return 1.0 if left <= E else (E / left) ** c


@compiled
def _enter(p, m1, side, ur):  # type: ignore[no-untyped-def]
    """Zero force at `ur` (in the direction entered): deteriorate the side entered and lay the path ahead."""
    q = at(p, _SIDE if side > 0.0 else _SIDE + _SIDE_SIZE)
    s = at(m1, _MSIDE if side > 0.0 else _MSIDE + _MSIDE_SIZE)
    path = at(m1, _PATH)
    E = max(m1[3], 0.0)
    m1[3] = 0.0
    m1[4] += E
    spent, c, rate = m1[4], p[3], q[7]
    strength = 1.0 - rate * _share(E, spent, p[4], c)
    s[0] *= strength
    s[1] *= strength
    if s[2] < NEVER:
        s[2] *= 1.0 - rate * _share(E, spent, p[5], c)
    s[3] *= 1.0 + rate * _share(E, spent, p[6], c)
    m1[5] = max(m1[5] * (1.0 - rate * _share(E, spent, p[7], c)), 0.01)
    rule = p[0]
    if rule == _BILINEAR:
        path[0], path[1] = ur, _backbone(ur, q, s)
        count, start = 1, ur
    else:
        target = max(s[3], ur)
        F = _backbone(target, q, s)
        path[0], path[1] = ur, 0.0
        count, start = 1, target
        # The rule jumps at ur = 0: what rounding leaves of it must not decide.
        if rule == _PINCHING and ur < -1e-9 * target:
            path[2], path[3] = (1.0 - p[2]) * ur, p[1] * F
            count = 2
        path[2 * count], path[2 * count + 1] = target, F
        count += 1
    count, last = _append_backbone(path, count, start, q, s)
    m1[6], m1[7] = float(count), last


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
    k = m1[5] * p[_SIDE if side > 0.0 else _SIDE + _SIDE_SIZE]
    slope = k
    if end < x and f + k * (end - x) < 0.0:
        zero = max(x - f / k, end)
        m1[3] -= 0.5 * f * f / k
        side, x, f, end = -side, -zero, 0.0, -end
        _enter(p, m1, side, x)
        k = m1[5] * p[_SIDE if side > 0.0 else _SIDE + _SIDE_SIZE]
        slope = k
    if end < x:
        elastic = f + k * (end - x)
        m1[3] += 0.5 * (f + elastic) * (end - x)
        f = elastic
    elif end > x:
        f, slope, work, touch, _ = advance(x, f, end, k, at(m1, _PATH), int(m1[6]), m1[7])
        m1[3] += work
        q = at(p, _SIDE if side > 0.0 else _SIDE + _SIDE_SIZE)
        s = at(m1, _MSIDE if side > 0.0 else _MSIDE + _MSIDE_SIZE)
        s[3] = max(s[3], end)
        softening = s[2] + q[4] * end <= s[0] + s[1] * (end - s[0] / q[0]) or end > q[6]
        if p[0] == _BILINEAR and touch == end and softening:
            s[4] = min(s[4], f)
    m1[0], m1[1], m1[2] = u, side * f, side
    out[0] = side * f
    out[1] = slope
    out[2] = 0.0
    out[3] = 0.5 * f * f / k
    return OK


class Backbone(NamedTuple):
    """One side of a monotonic backbone; all numbers positive, on the negative side too."""

    #: Yield force.
    Fy: float
    #: Force at the cap, at least Fy.
    Fc: float
    #: Plastic deformation from yield to cap.
    plastic: float
    #: Deformation from the cap to zero force along the softening line; None: no softening.
    post: float | None = None
    #: Residual force over Fy.
    residual: float = 0.0
    #: Deformation at which the force drops to zero; None: never.
    ultimate: float | None = None


def _checked(thing: str, side: Any, k: float) -> Backbone:
    try:
        backbone = Backbone(*side)
    except TypeError:
        raise InputError(
            f"{thing} is {side!r}; allowed: Backbone(Fy, Fc, plastic, post, residual, ultimate)"
        ) from None
    Fy = positive(f"{thing}.Fy", backbone.Fy, hint="write the numbers of both sides positive")
    Fc = within(f"{thing}.Fc", backbone.Fc, Fy, np.inf, hint="the cap is the largest force of the backbone")
    plastic = positive(f"{thing}.plastic", backbone.plastic)
    if (Fc - Fy) / plastic >= k:
        raise InputError(
            f"{thing} hardens at {(Fc - Fy) / plastic:g}; allowed: less than the elastic stiffness {k:g}"
        )
    if backbone.post is not None:
        positive(f"{thing}.post", backbone.post)
    within(f"{thing}.residual", backbone.residual, 0.0, 1.0, open_high=True, hint="it is a share of Fy")
    if backbone.ultimate is not None:
        low = Fy / k + plastic
        within(
            f"{thing}.ultimate", backbone.ultimate, low, NEVER, open_high=True, hint="it lies beyond the cap"
        )
    return backbone


def side_block(k: float, backbone: Backbone, rate: float) -> list[float]:
    """Parameters of one side as the kernel reads them."""
    Fy, Fc, plastic, post, residual, ultimate = backbone
    cap = Fy / k + plastic
    Kc = 0.0 if post is None else -Fc / post
    return [
        k,
        Fy,
        (Fc - Fy) / plastic,
        Fc - Kc * cap,
        Kc,
        residual * Fy,
        NEVER if ultimate is None else ultimate,
        rate,
    ]


def side_memory(block: list[float]) -> list[float]:
    """Memory of one virgin side: Fy, Ks, Fref, target, softening limit."""
    return [block[1], block[2], block[3], block[1] / block[0], NEVER]


@dataclass(frozen=True)
class Deteriorating(Law):
    """What the three laws share: backbone and energies.

    `k` elastic stiffness; `positive` and `negative` `Backbone` (negative None: as positive). `strength`,
    `capping`, `unloading` (and `reloading`) are γ = Eₜ/(Fy·δy) of the modes, 0 switches a mode off; Fy·δy is
    the mean of both sides. γ about 25 is fast, 150 slow. `c` is the exponent; `rates` multiply β on the
    (positive, negative) side.
    """

    k: float
    positive: Backbone
    negative: Backbone | None = None
    strength: float = 0.0
    capping: float = 0.0
    unloading: float = 0.0
    c: float = 1.0
    rates: tuple[float, float] = (1.0, 1.0)

    kernel = kernel
    recoverable = "F²/(2kᵤ), the work returned on unloading at the present unloading stiffness kᵤ"

    def __post_init__(self) -> None:
        name = type(self).__name__
        positive(f"{name}.k", self.k)
        object.__setattr__(self, "positive", _checked(f"{name}.positive", self.positive, self.k))
        if self.negative is not None:
            object.__setattr__(self, "negative", _checked(f"{name}.negative", self.negative, self.k))
        for mode in ("strength", "capping", "unloading", "reloading"):
            if hasattr(self, mode):
                within(f"{name}.{mode}", getattr(self, mode), 0.0, NEVER, hint="0 switches the mode off")
        within(f"{name}.c", self.c, 0.1, 10.0)
        rates = tuple(within(f"{name}.rates", rate, 0.0, 1.0) for rate in self.rates)
        if len(rates) != 2:
            raise InputError(
                f"{name}.rates is {self.rates!r}; allowed: two numbers, positive and negative side"
            )
        object.__setattr__(self, "rates", rates)

    def _rule(self) -> list[float]:
        raise NotImplementedError

    def _blocks(self) -> tuple[list[float], list[float]]:
        negative = self.positive if self.negative is None else self.negative
        return side_block(self.k, self.positive, self.rates[0]), side_block(self.k, negative, self.rates[1])

    def parameters(self) -> np.ndarray:
        """Rule, exponent, reference energies, both sides."""
        plus, minus = self._blocks()
        unit = 0.5 * (plus[1] ** 2 + minus[1] ** 2) / self.k
        modes = [self.strength, self.capping, getattr(self, "reloading", 0.0), self.unloading]
        return np.array([*self._rule(), self.c, *(unit * gamma for gamma in modes), *plus, *minus])

    def initial_memory(self) -> np.ndarray:
        """Virgin sides, no path."""
        plus, minus = self._blocks()
        memory = np.zeros(_MEMORY)
        memory[5] = 1.0
        memory[_MSIDE:_PATH] = [*side_memory(plus), *side_memory(minus)]
        return memory

    @staticmethod
    def dissipated(memory: np.ndarray) -> float:
        """Energy of the excursions that ended, J."""
        return float(memory[4])

    @property
    def stiffness(self) -> float:
        return self.k


@dataclass(frozen=True)
class DeterioratingBilinear(Deteriorating):
    """Bilinear law with kinematic hardening, softening and deterioration; see `Deteriorating`."""

    def _rule(self) -> list[float]:
        return [_BILINEAR, 0.0, 0.0]

    @classmethod
    def example(cls) -> "DeterioratingBilinear":
        side = Backbone(Fy=1e5, Fc=1.1e5, plastic=0.03, post=0.2, residual=0.4, ultimate=0.4)
        return cls(k=1e7, positive=side, strength=100.0, capping=100.0, unloading=150.0)


@dataclass(frozen=True)
class DeterioratingPeakOriented(Deteriorating):
    """Peak-oriented law with softening and deterioration; see `Deteriorating`; `reloading` is a γ too."""

    reloading: float = 0.0

    def _rule(self) -> list[float]:
        return [_PEAK, 0.0, 0.0]

    @classmethod
    def example(cls) -> "DeterioratingPeakOriented":
        plus = Backbone(Fy=1e5, Fc=1.15e5, plastic=0.03, post=0.2, residual=0.3)
        minus = Backbone(Fy=0.8e5, Fc=0.9e5, plastic=0.02, post=0.1, residual=0.2)
        return cls(
            k=1e7, positive=plus, negative=minus, strength=80.0, capping=80.0, unloading=120.0, reloading=80.0
        )


@dataclass(frozen=True)
class DeterioratingPinching(Deteriorating):
    """Pinching law with softening and deterioration; see `Deteriorating`; break point by `kf`, `kd`."""

    reloading: float = 0.0
    kf: float = 0.3
    kd: float = 0.4

    def __post_init__(self) -> None:
        super().__post_init__()
        within("DeterioratingPinching.kf", self.kf, 0.0, 1.0, hint="it is a share of the force at the target")
        within(
            "DeterioratingPinching.kd", self.kd, 0.0, 1.0, hint="it is a share of the residual deformation"
        )

    def _rule(self) -> list[float]:
        return [_PINCHING, self.kf, self.kd]

    @classmethod
    def example(cls) -> "DeterioratingPinching":
        side = Backbone(Fy=1e5, Fc=1.15e5, plastic=0.03, post=0.2, residual=0.3)
        return cls(k=1e7, positive=side, strength=80.0, capping=80.0, unloading=120.0, reloading=80.0)
