"""Storey of twin columns joined by short weakened beams: shear capacity, hinge rotation, column forces."""

from dataclasses import dataclass

from frame2d.errors import InputError, positive
from frame2d.materials import Bilinear
from frame2d.sections.section import length


@dataclass(frozen=True)
class VierendeelStorey:
    """Numbers of one storey (SI units).

    `shear` storey shear at the mechanism; `beam_shear` in each beam; `column_force` axial couple force in
    either column from this storey's beams; `rotation_ratio` hinge rotation over storey drift angle.
    """

    beams: int
    moment: float
    hinge_distance: float
    spacing: float
    height: float
    shear: float
    beam_shear: float
    column_force: float
    rotation_ratio: float

    def drift(self, rotation: float) -> float:
        """Storey drift angle (rad) at which the hinges reach `rotation` (rad)."""
        return rotation / self.rotation_ratio

    def law(self, hinge_stiffness: float, hardening: float = 0.0) -> Bilinear:
        """Storey shear over storey displacement, all rigid but hinges of `hinge_stiffness` (N·m/rad).

        Virtual work: V·u = 2n·M·θ with θ = (L/Lh)·u/h, so k = 2n·kθ·(L/Lh)²/h².
        """
        positive("hinge_stiffness", hinge_stiffness)
        k = 2.0 * self.beams * hinge_stiffness * (self.rotation_ratio / self.height) ** 2
        return Bilinear(k, self.shear, b=hardening)


def vierendeel_storey(
    beams: int, moment: float, hinge_distance: float, spacing: float, height: float
) -> VierendeelStorey:
    """Storey of `height` h with n `beams` between columns `spacing` L apart (m), a hinge of plastic `moment`
    M (N·m) at either end of each beam, `hinge_distance` Lh apart.

    V·h = n·(2M/Lh)·L,   hinge rotation = (L/Lh)·drift angle,   column force = n·2M/Lh

    Columns keep parallel and straight, and turn about their points of contraflexure with the storey; hinges
    in the columns themselves are not counted. Derived by virtual work and equilibrium. Raises `InputError`.
    """
    if beams < 1 or int(beams) != beams:
        raise InputError(f"beams is {beams}; allowed: 1, 2, 3 … beams a storey")
    positive("moment", moment, hint="plastic moment of one hinge, N·m")
    length("hinge_distance", hinge_distance)
    length("spacing", spacing)
    positive("height", height)
    if height > 50.0:
        raise InputError(f"height is {height:g}; allowed: up to 50 m. Likely mistake: mm; write 3500*mm")
    if hinge_distance > spacing:
        raise InputError(
            f"hinge_distance is {hinge_distance:g} m with spacing {spacing:g} m; allowed: hinges between "
            "the columns"
        )
    beam_shear = 2.0 * moment / hinge_distance
    return VierendeelStorey(
        beams=int(beams),
        moment=moment,
        hinge_distance=hinge_distance,
        spacing=spacing,
        height=height,
        shear=beams * beam_shear * spacing / height,
        beam_shear=beam_shear,
        column_force=beams * beam_shear,
        rotation_ratio=spacing / hinge_distance,
    )
