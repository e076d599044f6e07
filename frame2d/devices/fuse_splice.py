"""Beam splice with fuse plates beside a continuous slab: unequal moments in sagging and hogging."""

from dataclasses import dataclass
from math import pi, sqrt

from frame2d.devices.plastic_equilibrium import PlasticMoment, Strip, plastic_moment
from frame2d.errors import positive, within
from frame2d.materials import Multilinear
from frame2d.sections import Steel
from frame2d.sections.grades import strength
from frame2d.sections.section import length


@dataclass(frozen=True)
class FusePlate:
    """Plate bolted below the lower flange: `width` × `thickness`, unsupported over `free_length` (m)."""

    width: float
    thickness: float
    free_length: float
    steel: Steel

    def __post_init__(self) -> None:
        for name in ("width", "thickness", "free_length"):
            length(f"FusePlate.{name}", getattr(self, name))

    @property
    def area(self) -> float:
        """Width × thickness, m²."""
        return self.width * self.thickness

    @property
    def slenderness(self) -> float:
        """λ̄ = (0.5·L0/i)/(π√(E/fy)), i = t/√12, clamped at both ends (EN 1993-1-1 6.3.1.3)."""
        radius = self.thickness / sqrt(12.0)
        return 0.5 * self.free_length / radius / (pi * sqrt(self.steel.E / self.steel.fy))

    @property
    def buckling_factor(self) -> float:
        """χ by buckling curve c (solid sections), EN 1993-1-1 6.3.1.2: 1 for a stocky plate."""
        lam = self.slenderness
        if lam <= 0.2:
            return 1.0
        phi = 0.5 * (1.0 + 0.49 * (lam - 0.2) + lam**2)
        return min(1.0, 1.0 / (phi + sqrt(phi**2 - lam**2)))


@dataclass(frozen=True)
class Slab:
    """Slab over the beam: effective `width`, `thickness` (m), `bars` as (area, height over its lower face).

    `fc` is the concrete's strength and `fy` that of the bars (Pa), design, characteristic or mean as the
    user means.
    """

    width: float
    thickness: float
    bars: tuple[tuple[float, float], ...]
    fc: float
    fy: float
    open_joint: bool = False

    def __post_init__(self) -> None:
        length("Slab.width", self.width)
        length("Slab.thickness", self.thickness)
        strength("Slab.fc", self.fc)
        strength("Slab.fy", self.fy)
        for area, height in self.bars:
            positive("Slab.bars: area", area)
            within("Slab.bars: height", height, 0.0, self.thickness, hint="over the slab's lower face, in m")


@dataclass(frozen=True)
class FuseSplice:
    """Moments are magnitudes (N·m); rotations are those between the two beam ends at the splice (rad).

    `sagging`, `hogging` with yield strengths (hogging limited by buckling of the fuse), `sagging_ultimate`
    with fu of the plates; `stiffness` elastic (N·m/rad); `arm` from the fuse plate to the bars;
    `buckling_factor` χ; `rotation_limit` at the given plate strain; `unsymmetry` sagging over hogging.
    """

    sagging: PlasticMoment
    hogging: PlasticMoment
    sagging_ultimate: PlasticMoment
    stiffness: float
    arm: float
    buckling_factor: float
    rotation_limit: float

    @property
    def unsymmetry(self) -> float:
        """Sagging over hogging plastic moment."""
        return self.sagging.moment / self.hogging.moment

    def law(self) -> Multilinear:
        """Moment over rotation, positive in sagging: a start, to be fitted.

        Sagging rises from its plastic to its ultimate moment at the rotation limit, hogging keeps its
        plastic moment: the loss of strength after the plates have buckled is not in this law.
        """
        k, up, top, down = (
            self.stiffness,
            self.sagging.moment,
            self.sagging_ultimate.moment,
            self.hogging.moment,
        )
        limit = self.rotation_limit
        return Multilinear(
            positive=((up / k, up), (up / k + limit, top)),
            negative=((-down / k, -down), (-down / k - limit, -down)),
        )


def fuse_splice(
    plate: FusePlate,
    slab: Slab,
    depth: float,
    *,
    gap: float = 0.0,
    web: tuple[float, float, float] | None = None,
    plate_strain: float = 0.10,
) -> FuseSplice:
    """Splice of a beam of `depth` (m) whose slab begins `gap` (m) above its top; the beam is interrupted.

    `web` are fuse plates on the web: (total thickness, height, height of their centre over the beam's lower
    edge), of the fuse plate's steel. `plate_strain` is the mean strain of the free plate length that limits
    the rotation.

    Assumptions: plane section fully plastic; concrete carries 0.85·fc in compression up to the axis (its
    lower part in hogging) and nothing in tension (EN 1994-1-1 6.2.1.2, from memory); bars yield both ways;
    the lower fuse plate carries fy in tension and χ·fy in compression; web plates do not buckle; full shear
    connection, no slip in the bolts; stiffness is that of the lower plate alone, E·A/L0·z², turning about
    the bars. Arrangement after Andreotti et al. 2023 (from memory); equilibrium derived here. Raises
    `InputError`.
    """
    length("depth", depth)
    length("gap", gap, zero=True)
    within("plate_strain", plate_strain, 0.0, 0.5, open_low=True, hint="a strain, 0.10 is 10 %")
    base = depth + gap
    bars = sum(area for area, _ in slab.bars)
    positive(
        "area of the bars",
        bars,
        hint="without continuous bars there is no hogging resistance; give Slab.bars",
    )
    level = base + sum(area * height for area, height in slab.bars) / bars
    chi = plate.buckling_factor

    def strips(f: float) -> list[Strip]:
        found = [Strip(-plate.thickness, 0.0, plate.width, f, chi * plate.steel.fy)]
        if web is not None:
            thickness, height, centre = web
            found.append(Strip(centre - height / 2.0, centre + height / 2.0, thickness, f, plate.steel.fy))
        if not slab.open_joint:
            found.append(Strip(base, base + slab.thickness, slab.width, 0.0, 0.85 * slab.fc))
        for area, at in slab.bars:
            thin = min(1e-3, slab.thickness / 100.0)
            found.append(Strip(base + at - thin / 2.0, base + at + thin / 2.0, area / thin, slab.fy, slab.fy))
        return found

    if web is not None:
        for name, value in zip(("thickness", "height", "centre"), web, strict=True):
            length(f"web {name}", value)
        within(
            "web centre", web[2], web[1] / 2.0, depth - web[1] / 2.0, hint="web plates lie within the depth"
        )
    arm = level + plate.thickness / 2.0
    return FuseSplice(
        sagging=plastic_moment(strips(plate.steel.fy), sagging=True),
        hogging=plastic_moment(strips(plate.steel.fy), sagging=False),
        sagging_ultimate=plastic_moment(strips(plate.steel.fu), sagging=True),
        stiffness=plate.steel.E * plate.area / plate.free_length * arm**2,
        arm=arm,
        buckling_factor=chi,
        rotation_limit=plate_strain * plate.free_length / arm,
    )
