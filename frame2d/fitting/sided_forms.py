"""Forms of the laws with two sides: envelopes of points, backbones, six slopes.

Numbers of a side bear its name, `positive.Fy`; those of the negative side are magnitudes. Points after the
first are written as ratios to the point before, so that any values in the ranges make an envelope.
`mirror` ties the sides.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from frame2d.fitting.forms import FY, OWN, PHYSICS, K
from frame2d.fitting.ranges import Range
from frame2d.fitting.scales import Scales, Side
from frame2d.fitting.tables import STIFFNESS
from frame2d.materials import BoucWenAsymmetric, Law, Multilinear, Pinched, PinchedMultilinear
from frame2d.materials.deterioration import Backbone, Deteriorating, DeterioratingPinching

SIDES = (("positive", 1.0, "+"), ("negative", -1.0, "-"))


def _envelope(count: int, softening: bool) -> tuple[Range, ...]:
    """Points of both sides: the first in stiffness and force, the others as ratios."""
    ranges = []
    for side, _, sign in SIDES:
        ranges += [
            Range(f"{side}.k", f"K{sign}", 1 / 3, 3.0, 1.0, K),
            Range(f"{side}.F1", f"F{sign}", 0.2, 2.0, 0.8, FY),
        ]
        for i in range(2, count + 1):
            low, high, first = (0.4, 2.0, 1.1) if softening and i > 2 else (1.0, 2.5, 1.25)
            if softening and i == count:
                low, high, first = 0.05, 1.5, 0.9
            ranges += [
                Range(f"{side}.u{i}/u{i - 1}", "1", 1.2, 12.0, 2.5, OWN),
                Range(f"{side}.F{i}/F{i - 1}", "1", low, high, first, OWN),
            ]
    return tuple(ranges)


def _points(
    values: Mapping[str, float], side: str, sign: float, count: int
) -> tuple[tuple[float, float], ...]:
    F = values[f"{side}.F1"]
    u = F / values[f"{side}.k"]
    points = [(sign * u, sign * F)]
    for i in range(2, count + 1):
        u *= values[f"{side}.u{i}/u{i - 1}"]
        F *= values[f"{side}.F{i}/F{i - 1}"]
        points.append((sign * u, sign * F))
    return tuple(points)


def _numbers(points: Any, side: str, sign: float) -> dict[str, float]:
    u0, F0 = points[0]
    values = {f"{side}.k": F0 / u0, f"{side}.F1": sign * F0}
    for i, ((ua, Fa), (ub, Fb)) in enumerate(pairwise(points), 2):
        values[f"{side}.u{i}/u{i - 1}"] = ub / ua
        values[f"{side}.F{i}/F{i - 1}"] = Fb / Fa
    return values


DAMAGES = ("stiffness_damage", "deformation_damage", "strength_damage")


@dataclass(frozen=True)
class PinchedMultilinearForm:
    """Four points a side (16 numbers), six of the path, three times five of damage.

    `unload` is u_F where that is negative, and u_F/r_F where positive: so u_F never exceeds r_F. Negative ones
    need an envelope that never steepens on the side left; what steepens then is no law, and passed over.
    """

    law: type[PinchedMultilinear] = PinchedMultilinear

    @property
    def name(self) -> str:
        return self.law.__name__

    @property
    def ranges(self) -> tuple[Range, ...]:
        """Envelope and path are free; group "damage" has the rest, the limits among them as "limits"."""
        typical = "typical 0.2 to 0.7 (from memory), widened"
        path = []
        for side, _, _ in SIDES:
            path += [
                Range(f"{side}.reload_deformation", "1", 0.0, 0.95, 0.5, typical, log=False),
                Range(
                    f"{side}.reload_force",
                    "1",
                    0.01,
                    0.95,
                    0.3,
                    "0.05 to 0.5 (from memory), widened",
                    log=False,
                ),
                Range(
                    f"{side}.unload",
                    "1",
                    -0.6,
                    1.0,
                    0.0,
                    "unload_force -0.5 to 0.1 (from memory), widened",
                    log=False,
                ),
            ]
        damage = []
        for name in DAMAGES:
            most = 0.95 if name != "deformation_damage" else 2.0
            for number, high, log in (
                ("g1", 1.0, False),
                ("g2", 1.0, False),
                ("g3", 3.0, True),
                ("g4", 3.0, True),
            ):
                low, first = (0.2, 1.0) if log else (0.0, 0.0)
                damage.append(
                    Range(
                        f"{name}.{number}",
                        "1",
                        low,
                        high,
                        first,
                        "Lowes & Altoontash 2003 (from memory)",
                        log=log,
                        free=False,
                        group="damage",
                    )
                )
            damage.append(
                Range(
                    f"{name}.limit", "1", 0.02, most, 0.5 * most, OWN, log=False, free=False, group="limits"
                )
            )
        return (*_envelope(4, True), *path, *damage)

    def first(self, scales: Scales) -> dict[str, float]:
        """Envelopes read off the test: bend, largest deformation, and two points evenly between (logarithm)."""
        values: dict[str, float] = {}
        for side, sign, _ in SIDES:
            found: Side = getattr(scales, side)
            if found.envelope is None:
                continue
            u1 = min(0.8 * found.F / found.K, 0.3 * found.U)
            u = np.geomspace(u1, found.U, 4)
            F = np.maximum(np.interp(u, *found.envelope), 0.05 * found.F)
            F[0] = 0.8 * found.F
            values |= _numbers([(sign * a, sign * b) for a, b in zip(u, F, strict=True)], side, sign)
        return values

    def build(self, values: Mapping[str, float]) -> Law:
        """The law."""
        pairs: dict[str, list[float]] = {"reload_deformation": [], "reload_force": [], "unload_force": []}
        for side, _, _ in SIDES:
            share = values[f"{side}.reload_force"]
            pairs["reload_deformation"].append(values[f"{side}.reload_deformation"])
            pairs["reload_force"].append(share)
            unload = values[f"{side}.unload"]
            pairs["unload_force"].append(unload * share if unload > 0.0 else unload)
        damages = {
            name: tuple(values[f"{name}.{number}"] for number in ("g1", "g2", "g3", "g4", "limit"))
            for name in DAMAGES
        }
        envelopes = {side: _points(values, side, sign, 4) for side, sign, _ in SIDES}
        return self.law(**envelopes, **{k: tuple(v) for k, v in pairs.items()}, **damages)  # type: ignore[arg-type]

    def read(self, law: Law) -> dict[str, float]:
        """The numbers of a law."""
        assert isinstance(law, PinchedMultilinear)
        values: dict[str, float] = {}
        for i, (side, sign, _) in enumerate(SIDES):
            values |= _numbers(getattr(law, side), side, sign)
            values[f"{side}.reload_deformation"] = law.reload_deformation[i]
            values[f"{side}.reload_force"] = law.reload_force[i]
            force, unload = law.reload_force[i], law.unload_force[i]
            values[f"{side}.unload"] = unload / force if unload > 0.0 else unload
        for name in DAMAGES:
            for number, value in zip(("g1", "g2", "g3", "g4", "limit"), getattr(law, name), strict=True):
                values[f"{name}.{number}"] = value
        return values


@dataclass(frozen=True)
class MultilinearForm:
    """`count` points a side; slopes fall, so each is written as a share of the slope before."""

    count: int = 3

    @property
    def name(self) -> str:
        return "Multilinear"

    @property
    def ranges(self) -> tuple[Range, ...]:
        """First stiffness, the same on both sides, then force, ratio of deformations and of slopes."""
        ranges = [STIFFNESS]
        for side, _, sign in SIDES:
            ranges.append(Range(f"{side}.F1", f"F{sign}", 0.2, 2.0, 0.8, FY))
            for i in range(2, self.count + 1):
                ranges += [
                    Range(f"{side}.u{i}/u{i - 1}", "1", 1.2, 12.0, 2.5, OWN),
                    Range(
                        f"{side}.slope{i}", "1", 0.0, 1.0, 0.3, "of the slope before; " + PHYSICS, log=False
                    ),
                ]
        return tuple(ranges)

    def build(self, values: Mapping[str, float]) -> Law:
        """The law."""
        sides = {}
        for side, sign, _ in SIDES:
            F, slope = values[f"{side}.F1"], values["k"]
            u = F / slope
            points = [(sign * u, sign * F)]
            for i in range(2, self.count + 1):
                slope *= values[f"{side}.slope{i}"]
                ahead = u * values[f"{side}.u{i}/u{i - 1}"]
                F += slope * (ahead - u)
                u = ahead
                points.append((sign * u, sign * F))
            sides[side] = tuple(points)
        return Multilinear(**sides)

    def read(self, law: Law) -> dict[str, float]:
        """The numbers of a law."""
        assert isinstance(law, Multilinear)
        mirrored = tuple((-u, -F) for u, F in law.positive)
        values = {"k": law.stiffness}
        for side, points in (("positive", law.positive), ("negative", law.negative or mirrored)):
            slope, (u, F) = law.stiffness, (abs(points[0][0]), abs(points[0][1]))
            values[f"{side}.F1"] = F
            for i, (ub, Fb) in enumerate(points[1:], 2):
                new = (abs(Fb) - F) / (abs(ub) - u)
                values[f"{side}.u{i}/u{i - 1}"] = abs(ub) / u
                values[f"{side}.slope{i}"] = new / slope if slope > 0.0 else 0.0
                slope, u, F = new, abs(ub), abs(Fb)
        return values


@dataclass(frozen=True)
class PinchedForm:
    """Stiffness, yield force and hardening ratio a side, and the break point."""

    @property
    def name(self) -> str:
        return "Pinched"

    @property
    def ranges(self) -> tuple[Range, ...]:
        """Three numbers a side, kf and kd."""
        ranges = []
        for side, _, sign in SIDES:
            ranges += [
                Range(f"{side}.k", f"K{sign}", 1 / 3, 3.0, 1.0, K),
                Range(f"{side}.Fy", f"F{sign}", 1 / 3, 3.0, 1.0, FY),
                Range(f"{side}.b", "1", 0.0, 0.5, 0.05, OWN, log=False),
            ]
        return (
            *ranges,
            Range("kf", "1", 0.0, 1.0, 0.3, PHYSICS, log=False),
            Range("kd", "1", 0.0, 1.0, 0.4, PHYSICS, log=False),
        )

    def build(self, values: Mapping[str, float]) -> Law:
        """The law; its second points lie at ten yield deformations, which says nothing but the slope."""
        sides = {}
        for side, sign, _ in SIDES:
            F, k = values[f"{side}.Fy"], values[f"{side}.k"]
            u = F / k
            sides[side] = (
                (sign * u, sign * F),
                (sign * 10.0 * u, sign * F * (1.0 + 9.0 * values[f"{side}.b"])),
            )
        return Pinched(**sides, kf=values["kf"], kd=values["kd"])

    def read(self, law: Law) -> dict[str, float]:
        """The numbers of a law."""
        assert isinstance(law, Pinched)
        values = {"kf": law.kf, "kd": law.kd}
        for side, sign, _ in SIDES:
            (u1, F1), (u2, F2) = getattr(law, side)
            values |= {
                f"{side}.k": F1 / u1,
                f"{side}.Fy": sign * F1,
                f"{side}.b": (F2 - F1) / (u2 - u1) * u1 / F1,
            }
        return values


@dataclass(frozen=True)
class DeterioratingForm:
    """One stiffness, a backbone a side, and the γ of each mode; backbones without ultimate deformation.

    `softening` False leaves the cap out. `others` are fields that are not searched.
    """

    law: type[Deteriorating]
    softening: bool = True
    others: dict[str, Any] = field(default_factory=dict)

    @property
    def name(self) -> str:
        return self.law.__name__

    @property
    def ranges(self) -> tuple[Range, ...]:
        """Backbones and modes; γ 25 is fast, 150 slow (Ibarra et al. 2005, from memory)."""
        ranges = [STIFFNESS]
        backbone = "Lignos & Krawinkler 2011 (from memory), widened"
        for side, _, sign in SIDES:
            ranges += [
                Range(f"{side}.Fy", f"F{sign}", 1 / 3, 3.0, 0.9, FY),
                Range(f"{side}.Fc/Fy", "1", 1.001, 2.0, 1.15, backbone),
                Range(f"{side}.plastic", f"u{sign}", 0.5, 60.0, 5.0, backbone),
            ]
            if self.softening:
                ranges += [
                    Range(f"{side}.post", f"u{sign}", 2.0, 300.0, 30.0, backbone),
                    Range(f"{side}.residual", "1", 0.0, 0.9, 0.3, backbone, log=False),
                ]
        for mode in ("strength", "capping", "unloading", "reloading"):
            if hasattr(self.law, mode):
                ranges.append(
                    Range(
                        mode,
                        "1",
                        5.0,
                        2000.0,
                        200.0,
                        "γ 25 fast to 150 slow: Ibarra et al. 2005 (from memory), widened",
                    )
                )
        if issubclass(self.law, DeterioratingPinching):
            ranges += [Range(name, "1", 0.0, 1.0, 0.35, PHYSICS, log=False) for name in ("kf", "kd")]
        return tuple(ranges)

    def build(self, values: Mapping[str, float]) -> Law:
        """The law."""
        sides = {}
        for side, _, _ in SIDES:
            Fy = values[f"{side}.Fy"]
            post = values[f"{side}.post"] if self.softening else None
            residual = values[f"{side}.residual"] if self.softening else 0.0
            sides[side] = Backbone(
                Fy, Fy * values[f"{side}.Fc/Fy"], values[f"{side}.plastic"], post, residual
            )
        rest = {name: value for name, value in values.items() if "." not in name}
        return self.law(**sides, **rest, **self.others)  # type: ignore[arg-type]

    def read(self, law: Law) -> dict[str, float]:
        """The numbers of a law."""
        assert isinstance(law, Deteriorating)
        values: dict[str, float] = {}
        for side, backbone in (("positive", law.positive), ("negative", law.negative or law.positive)):
            values |= {
                f"{side}.Fy": backbone.Fy,
                f"{side}.Fc/Fy": backbone.Fc / backbone.Fy,
                f"{side}.plastic": backbone.plastic,
                f"{side}.post": backbone.post or 0.0,
                f"{side}.residual": backbone.residual,
            }
        known = {r.name for r in self.ranges}
        values |= {name: float(getattr(law, name)) for name in known if "." not in name}
        return {name: value for name, value in values.items() if name in known}


@dataclass(frozen=True)
class AsymmetricForm:
    """Six slopes of the asymmetric Bouc-Wen law with ψ₁ = 1, which fixes the scale of Fy.

    ψ₃, ψ₄, ψ₆ ≥ 0 where z is loaded; ψ₂ and ψ₅ as `unload+` and `unload-`, shares in [0, 1] of the least they
    may be, −(ψ₄ + ψ₆) and −(ψ₁ + ψ₃): then every value in the ranges can only dissipate.
    """

    @property
    def name(self) -> str:
        return "BoucWenAsymmetric"

    @property
    def ranges(self) -> tuple[Range, ...]:
        """k, Fy, a, n and the slopes."""
        derived = "what can only dissipate (derived here)"
        return (
            STIFFNESS,
            Range("Fy", "F+", 1 / 3, 3.0, 1.0, FY),
            Range("a", "1", 0.0, 0.3, 0.02, "steel 0.005 to 0.05 (from memory), widened", log=False),
            Range("n", "1", 1.0, 5.0, 1.5, "1 to 2, to 5 where sharp (from memory)"),
            Range("psi3", "1", 0.05, 10.0, 1.0, OWN),
            Range("psi4", "1", 0.05, 10.0, 1.0, OWN),
            Range("psi6", "1", 0.05, 10.0, 1.0, OWN),
            Range("unload+", "1", 0.0, 1.0, 0.3, derived, log=False),
            Range("unload-", "1", 0.0, 1.0, 0.3, derived, log=False),
        )

    def build(self, values: Mapping[str, float]) -> Law:
        """The law."""
        psi3, psi4, psi6 = values["psi3"], values["psi4"], values["psi6"]
        psi2, psi5 = -values["unload+"] * (psi4 + psi6), -values["unload-"] * (1.0 + psi3)
        psi = (1.0, psi2, psi3, psi4, psi5, psi6)
        return BoucWenAsymmetric.from_phases(values["k"], values["Fy"], values["a"], values["n"], psi)

    def read(self, law: Law) -> dict[str, float]:
        """The numbers of a law, its Fy scaled so that ψ₁ = 1."""
        assert isinstance(law, BoucWenAsymmetric)
        signs = ((1, 1, 1), (1, -1, 1), (1, -1, -1), (-1, -1, -1), (-1, 1, -1), (-1, 1, 1))
        raw = [law.psi(*each) for each in signs]
        psi = [value / raw[0] for value in raw]
        return {
            "k": law.k,
            "Fy": law.Fy * raw[0] ** (-1.0 / law.n),
            "a": law.a,
            "n": law.n,
            "psi3": psi[2],
            "psi4": psi[3],
            "psi6": psi[5],
            "unload+": -psi[1] / (psi[3] + psi[5]),
            "unload-": -psi[4] / (psi[0] + psi[2]),
        }


__all__ = [
    "AsymmetricForm",
    "DeterioratingForm",
    "MultilinearForm",
    "PinchedForm",
    "PinchedMultilinearForm",
]
