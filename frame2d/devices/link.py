"""Short, intermediate and long links of eccentric braces: capacities, length classes, rotation capacity."""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from frame2d.errors import InputError, known, within
from frame2d.materials import Bilinear
from frame2d.sections import ISection, Steel
from frame2d.sections.section import length


@dataclass(frozen=True)
class Link:
    """Numbers of a link of length `e` (SI units).

    `Vp`, `Mp` plastic shear and moment; `short` and `long` limits of length; `kind` "short", "intermediate",
    "long"; `rotation` capacity (rad); `shear` = min(Vp, moments at both ends over e), what the link carries;
    `ultimate` that with the over-strength factor; `stiffness` transverse (N/m), ends kept parallel.
    """

    e: float
    Vp: float
    Mp: float
    short: float
    long: float
    kind: str
    rotation: float
    shear: float
    ultimate: float
    stiffness: float

    def law(self) -> Bilinear:
        """Shear force over transverse displacement: a start, to be fitted.

        It hardens from `shear` to `ultimate` over the plastic rotation capacity.
        """
        ratio = (self.ultimate - self.shear) / (self.rotation * self.e) / self.stiffness
        return Bilinear(self.stiffness, self.shear, b=ratio / (1.0 + ratio))


def link(
    section: ISection,
    steel: Steel,
    e: float,
    *,
    code: str = "EN 1998-1",
    ratio: float = 1.0,
    axial: float = 0.0,
    overstrength: float = 1.5,
) -> Link:
    """Link of length `e` (m) by `code` "EN 1998-1" (6.8) or "AISC 341" (F3).

    EN 1998-1:  Vp = fy/√3·tw(d − tf),  Mp = fy·b·tf(d − tf); short up to 0.8(1 + α)Mp/Vp (1.6 for α = 1),
    long from 1.5(1 + α)Mp/Vp (3.0); α = `ratio` of the smaller to the larger end moment. `axial` is NEd/Npl
    up to 0.15, above which the code's further limits of length apply, which are not implemented.
    AISC 341:  Vp = 0.6fy(d − 2tf)tw,  Mp = fy·Wpl; 1.6 and 2.6 Mp/Vp, equal end moments.

    Rotation capacity 0.08 rad short, 0.02 rad long, straight line between. `overstrength` 1.5, very short
    links up to 2.0 (from memory). Sources: EN 1998-1:2004 6.8.2; ANSI/AISC 341-16 F3 (from memory). Raises
    `InputError`.
    """
    known("code", code, ("EN 1998-1", "AISC 341"))
    length("e", e)
    within(
        "axial", axial, 0.0, 0.15, hint="the share NEd/Npl, not a force; links with more are not covered here"
    )
    within("ratio", ratio, 0.0, 1.0, hint="smaller over larger end moment")
    within("overstrength", overstrength, 1.0, 3.0, hint="ultimate over plastic resistance, about 1.5")
    d, b, tw, tf = section.depth, section.b, section.tw, section.tf
    if code == "EN 1998-1":
        Vp, Mp = steel.fy / sqrt(3.0) * tw * (d - tf), steel.fy * b * tf * (d - tf)
        short, long = 0.8 * (1.0 + ratio) * Mp / Vp, 1.5 * (1.0 + ratio) * Mp / Vp
    else:
        if ratio != 1.0:
            raise InputError(
                f"ratio is {ratio:g}; allowed with AISC 341: 1, its limits are for equal end moments"
            )
        Vp, Mp = 0.6 * steel.fy * (d - 2.0 * tf) * tw, steel.fy * section.Wpl
        short, long = 1.6 * Mp / Vp, 2.6 * Mp / Vp
    shear = min(Vp, (1.0 + ratio) * Mp / e)
    return Link(
        e=e,
        Vp=Vp,
        Mp=Mp,
        short=short,
        long=long,
        kind="short" if e <= short else "long" if e >= long else "intermediate",
        rotation=float(np.interp(e, [short, long], [0.08, 0.02])),
        shear=shear,
        ultimate=overstrength * shear,
        stiffness=1.0 / (e / (steel.G * section.As) + e**3 / (12.0 * steel.E * section.I)),
    )
