"""Brace-end pin between plates: a bar in four-point bending that yields (Vayas & Thanopoulos 2005)."""

from dataclasses import dataclass
from math import sqrt

from frame2d.errors import InputError, within
from frame2d.materials import Law, Pinched, Slack
from frame2d.sections import Section, Steel
from frame2d.sections.section import length


@dataclass(frozen=True)
class PinDevice:
    """Numbers of a pin; forces are those of the brace, deformations along the brace (SI units).

    `Py` first yield, `Pp` mechanism with fy, `Pu` mechanism with fu, `stiffness` in bending,
    `stiffness_with_shear`, `yield_deformation` Py/stiffness, `usable` deformation before the pin jams
    between the plates, less the clearance, `clearance` slack on either side, `shear_ratio` shear at `Pp`
    over the pin's plastic shear resistance.
    """

    Py: float
    Pp: float
    Pu: float
    stiffness: float
    stiffness_with_shear: float
    yield_deformation: float
    usable: float
    clearance: float
    shear_ratio: float
    notes: tuple[str, ...] = ()

    def law(self, *, kf: float = 0.3, kd: float = 0.5) -> Law:
        """Pinched law from `Pp` to `Pu` at the usable deformation, behind the clearance: a start to fit.

        Break point `kf`, `kd` as in `frame2d.materials.Pinched`: holes ovalise, so reloading is soft; the
        defaults are a guess within ranges used for pins (from memory), no more.
        """
        u1 = self.Pp / self.stiffness_with_shear
        up = ((u1, self.Pp), (self.usable, self.Pu))
        down = ((-u1, -self.Pp), (-self.usable, -self.Pu))
        inner = Pinched(up, down, kf=kf, kd=kd)
        return Slack(inner, self.clearance) if self.clearance > 0.0 else inner


def pin_in_bending(
    section: Section, arm: float, span: float, steel: Steel, *, clearance: float = 0.0
) -> PinDevice:
    """Pin between two outer plates `span` apart (clear), loaded by inner plates `arm` away from them.

    Half of the load P acts at each inner plate, so M = P·a/2 between them (a arm, l span):

        Py = 2Wel·fy/a,   Pp = 4Wpl·fy/a (hinges at inner and outer plates),   Pu = 4Wpl·fu/a
        k = 12EI/(a²(3l − 4a)),   usable deformation 0.8a less the clearance

    The outer plates hold the pin simply while it is elastic and clamp it at the mechanism. `clearance` (m)
    is the play to one side. Derived by beam theory; arrangement and 0.8a after Vayas & Thanopoulos,
    "Innovative dissipative (INERD) pin connections for seismic resistant braced frames", 2005 (from memory).
    Raises `InputError`.
    """
    a, span = length("arm", arm), length("span", span)
    if 2.0 * a >= span:
        raise InputError(
            f"arm is {a:g} m with span {span:g} m; allowed: less than half the span. Likely mistake: span "
            "is the clear distance of the outer plates, arm the distance from an outer to the next inner "
            "plate"
        )
    within("clearance", clearance, 0.0, 0.8 * a, open_high=True, hint="play to one side in m")
    Py = 2.0 * section.Wel * steel.fy / a
    Pp, Pu = (4.0 * section.Wpl * f / a for f in (steel.fy, steel.fu))
    k = 12.0 * steel.E * section.I / (a**2 * (3.0 * span - 4.0 * a))
    with_shear = 1.0 / (1.0 / k + a / (2.0 * steel.G * section.As))
    ratio = Pp / 2.0 / (section.Av * steel.fy / sqrt(3.0))
    notes = []
    if ratio > 0.5:
        notes.append(
            f"shear at the mechanism is {ratio:.2f} of the plastic shear resistance: above 0.5 the bending "
            "strength falls (EN 1993-1-1 6.2.8) and Pp, Pu are upper bounds"
        )
    return PinDevice(Py, Pp, Pu, k, with_shear, Py / k, 0.8 * a - clearance, clearance, ratio, tuple(notes))
