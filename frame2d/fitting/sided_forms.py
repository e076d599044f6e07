"""Forms of the other laws with two sides: two-point and deteriorating backbones, six slopes."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from frame2d.fitting.forms import FY, OWN, PHYSICS, K
from frame2d.fitting.ranges import Range
from frame2d.fitting.sides import SIDES
from frame2d.fitting.tables import STIFFNESS
from frame2d.materials import BoucWenAsymmetric, Law, Pinched
from frame2d.materials.bouc_wen_asymmetric import PHASES
from frame2d.materials.deterioration import Backbone, Deteriorating, DeterioratingPinching


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
        raw = [law.psi(*each) for each in PHASES]
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
