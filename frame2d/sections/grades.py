"""Steel grades: yield and ultimate strength by thickness (EN 1993-1-1 table 3.1 for steels of EN 10025)."""

from dataclasses import dataclass

from frame2d.errors import InputError, known, positive, within

#: fy, fu in MPa for t ≤ 40 mm and for 40 mm < t ≤ 80 mm. EN 1993-1-1:2005 with A1:2014, table 3.1 (from
#: memory): S235 to S355 of EN 10025-2, S460 of EN 10025-3 (N).
_TABLE: dict[str, tuple[tuple[float, float], tuple[float, float]]] = {
    "S235": ((235.0, 360.0), (215.0, 360.0)),
    "S275": ((275.0, 430.0), (255.0, 410.0)),
    "S355": ((355.0, 490.0), (335.0, 470.0)),
    "S460": ((460.0, 540.0), (430.0, 540.0)),
}


@dataclass(frozen=True)
class Steel:
    """Steel of yield strength `fy` and ultimate strength `fu` (Pa), modulus `E` (Pa), Poisson's ratio `nu`.

    `density` in kg/m³. E = 210 GPa, ν = 0.3: EN 1993-1-1 3.2.6; 7850 kg/m³: EN 1991-1-1 table A.4 (from
    memory).
    """

    name: str
    fy: float
    fu: float
    E: float = 210e9
    nu: float = 0.3
    density: float = 7850.0

    def __post_init__(self) -> None:
        modulus(f"{self.name}: E", self.E)
        strength(f"{self.name}: fy", self.fy)
        strength(f"{self.name}: fu", self.fu)
        within(f"{self.name}: nu", self.nu, 0.0, 0.5, open_high=True)
        positive(f"{self.name}: density", self.density)
        if self.fu < self.fy:
            raise InputError(
                f"{self.name}: fu is {self.fu:g}; allowed: at least fy = {self.fy:g}. "
                "Likely mistake: fy and fu exchanged"
            )

    @property
    def G(self) -> float:
        """Shear modulus E/(2(1 + ν)), Pa."""
        return self.E / (2.0 * (1.0 + self.nu))

    @property
    def yield_strain(self) -> float:
        """fy/E."""
        return self.fy / self.E


def grade(name: str, thickness: float = 0.0) -> Steel:
    """Steel grade "S235", "S275", "S355" or "S460" for the largest `thickness` (m) of the part.

    Nominal values; a test needs those of its coupons. Raises `InputError` for an unknown grade or over 80 mm.
    """
    thin, thick = _TABLE[known("steel grade", name, _TABLE)]
    within("thickness", thickness, 0.0, 0.080, hint="this smells of mm; write 20*mm (frame2d.units)")
    fy, fu = thin if thickness <= 0.040 else thick
    return Steel(name, fy * 1e6, fu * 1e6)


def modulus(thing: str, value: float) -> float:
    """Return a modulus in Pa, or raise `InputError` when it smells of GPa or MPa (allowed 10⁶ to 10¹² Pa)."""
    unit = "GPa; write 210*GPa" if value < 1e3 else "MPa (N/mm²); write 210000*MPa"
    return within(thing, value, 1e6, 1e12, hint=f"this smells of {unit}")


def strength(thing: str, value: float) -> float:
    """Return a strength in Pa, or raise `InputError` when it smells of MPa (allowed 1 MPa to 5 GPa)."""
    unit = "MPa; write 355*MPa" if value < 1e4 else "kN/m²; write 355000*kPa"
    return within(
        thing, value, 1e6, 5e9, hint=f"this smells of {unit}" if value < 1e6 else "over any structural steel"
    )
