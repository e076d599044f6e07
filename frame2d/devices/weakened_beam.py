"""Beam with circular flange cuts near its end: dimensions, plastic moment, rotation capacities."""

from dataclasses import dataclass

from frame2d.errors import InputError, known, positive, within
from frame2d.materials import DeterioratingBilinear
from frame2d.materials.deterioration import Backbone
from frame2d.sections import ISection, Steel, weakened_i

#: Allowed a/bf, b/d, g/bf. EN 1998-3:2005 annex B, B.5.3.4 gives a, b and the largest g; ANSI/AISC 358-16,
#: 5.8 gives ranges (both from memory).
_RULES: dict[str, tuple[tuple[float, float], tuple[float, float], tuple[float, float]]] = {
    "EN 1998-3": ((0.60, 0.60), (0.75, 0.75), (0.0, 0.25)),
    "AISC 358": ((0.50, 0.75), (0.65, 0.85), (0.10, 0.25)),
}

#: Rotation at damage limitation, significant damage, near collapse, rad: EN 1998-3:2005 annex B (from
#: memory).
ROTATIONS = {"DL": 0.010, "SD": 0.025, "NC": 0.040}


@dataclass(frozen=True)
class WeakenedBeam:
    """Cut from `a` off the column face over length `b`, depth `g` a side, circular with `radius` (m).

    `section` at the narrowest place; `plastic_modulus` there; `Mp` = Z·fy; `Mpr` = Cpr·γov·Z·fy, the probable
    moment; `distance` from the face to the centre of the cut; `rotations` by limit state (rad).
    """

    a: float
    b: float
    g: float
    radius: float
    section: ISection
    plastic_modulus: float
    Mp: float
    Mpr: float
    distance: float
    rotations: dict[str, float]

    def face_moment(self, between: float, load: float = 0.0) -> float:
        """Moment at the column face (N·m) with the probable moment in both cuts, `between` (m) apart.

        V = 2Mpr/L′ + qL′/2 with the uniform gravity `load` q (N/m); M = Mpr + V·(a + b/2), the load on the
        short end neglected. Source: EN 1998-3:2005 B.5.3.4 (from memory).
        """
        positive("between", between, hint="distance of the centres of the two cuts, in m")
        return self.Mpr + (2.0 * self.Mpr / between + load * between / 2.0) * self.distance

    def law(
        self, stiffness: float, *, plastic: float = 0.025, post: float = 0.20, energy: float = 1.0
    ) -> DeterioratingBilinear:
        """Moment-rotation law of the hinge: a start, to be fitted. `stiffness` (N·m/rad) is the frame's.

        Cap at 1.1·My after `plastic` (rad), zero after `post` more, residual 0.4·My; `energy` is Et/My
        (rad). Ranges of Lignos & Krawinkler, "Deterioration modeling of steel components", 2011 (from
        memory): 0.02 to 0.03, 0.15 to 0.25, 0.5 to 2 rad.
        """
        positive("stiffness", stiffness, hint="N·m/rad, for example 10 × 6EI/L of the beam")
        wear = energy * stiffness / self.Mp  # Et/(My·θy)
        backbone = Backbone(Fy=self.Mp, Fc=1.1 * self.Mp, plastic=plastic, post=post, residual=0.4)
        return DeterioratingBilinear(stiffness, backbone, strength=wear, capping=wear, unloading=wear)


def weakened_beam(
    section: ISection,
    steel: Steel,
    *,
    a: float | None = None,
    b: float | None = None,
    g: float | None = None,
    rule: str = "EN 1998-3",
    overstrength: float = 1.25,
) -> WeakenedBeam:
    """Weakened beam by `rule` "EN 1998-3" or "AISC 358"; a = 0.60bf, b = 0.75d, g = 0.20bf unless given (m).

    r = (4g² + b²)/(8g),   Z = Wpl − 2g·tf(d − tf),   Mpr = Cpr·γov·Z·fy,   Cpr = (fy + fu)/(2fy) ≤ 1.2

    `overstrength` γov (EN 1998-1 6.2: 1.25) stands for AISC's Ry. Dimensions outside the rule's range raise
    `InputError`. Sources: EN 1998-3:2005 B.5.3.4; ANSI/AISC 358-16, 5.8 (from memory).
    """
    ranges = _RULES[known("rule", rule, _RULES)]
    bf, d, tf = section.b, section.depth, section.tf
    values = (0.60 * bf if a is None else a, 0.75 * d if b is None else b, 0.20 * bf if g is None else g)
    for name, value, (low, high), size in zip("abg", values, ranges, (bf, d, bf), strict=True):
        positive(name, value, hint="a length in m")
        slack = 1e-9 * size
        within(
            name,
            value,
            low * size - slack,
            high * size + slack,
            hint=f"{rule} takes {low:g} to {high:g} times {size:g} m",
        )
    a, b, g = values
    Z = section.Wpl - 2.0 * g * tf * (d - tf)
    positive("overstrength", overstrength)
    if overstrength < 1.0:
        raise InputError(
            f"overstrength is {overstrength:g}; allowed: 1 or more, actual over nominal yield strength"
        )
    Mp = Z * steel.fy
    Cpr = min(1.2, (steel.fy + steel.fu) / (2.0 * steel.fy))
    return WeakenedBeam(
        a=a,
        b=b,
        g=g,
        radius=(4.0 * g**2 + b**2) / (8.0 * g),
        section=weakened_i(section, g),
        plastic_modulus=Z,
        Mp=Mp,
        Mpr=Cpr * overstrength * Mp,
        distance=a + b / 2.0,
        rotations=dict(ROTATIONS),
    )
