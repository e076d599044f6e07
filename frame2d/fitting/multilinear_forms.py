"""Forms of the laws whose sides are envelopes of several points."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from frame2d.fitting.forms import FY, OWN, PHYSICS
from frame2d.fitting.ranges import Range
from frame2d.fitting.scales import Scales, Side
from frame2d.fitting.sides import SIDES, envelope, numbers_of, points_of
from frame2d.fitting.tables import STIFFNESS
from frame2d.materials import Law, Multilinear, PinchedMultilinear

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
        return (*envelope(4, True), *path, *damage)

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
            values |= numbers_of([(sign * a, sign * b) for a, b in zip(u, F, strict=True)], side, sign)
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
        envelopes = {side: points_of(values, side, sign, 4) for side, sign, _ in SIDES}
        return self.law(**envelopes, **{k: tuple(v) for k, v in pairs.items()}, **damages)  # type: ignore[arg-type]

    def read(self, law: Law) -> dict[str, float]:
        """The numbers of a law."""
        assert isinstance(law, PinchedMultilinear)
        values: dict[str, float] = {}
        for i, (side, sign, _) in enumerate(SIDES):
            values |= numbers_of(getattr(law, side), side, sign)
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
