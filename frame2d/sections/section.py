"""What a cross-section is: areas, moments and plastic modulus about the axis it bends about, in SI units."""

from dataclasses import dataclass, field, replace

from frame2d.errors import InputError, positive, within

_MM = "this smells of mm; write 300*mm (frame2d.units) or 0.3"
#: Rounding of handbook values must pass the geometric inequalities.
_SLACK = 1.005


def length(thing: str, value: float, *, zero: bool = False) -> float:
    """Return a dimension in m, or raise `InputError` when it smells of mm (5 m is the largest)."""
    return within(
        thing,
        value,
        0.0,
        5.0,
        open_low=not zero,
        hint=_MM if value > 5.0 else "a dimension can't be negative",
    )


@dataclass(frozen=True, kw_only=True)
class Section:
    """Cross-section in bending about its horizontal axis (depth is vertical); all values in m, m², m³, m⁴.

    `A` area; `I` second moment; `Wel`, `Wpl` elastic (smaller side) and plastic section modulus; `As` shear
    area for shear deformation (Timoshenko's G·As); `Av` shear area for plastic shear resistance Av·fy/√3 (EN
    1993-1-1 6.2.6), `As` when not given; `depth`; `centroid` height of the centroid over the lower edge,
    half the depth when not given; `weak` the same section bent about its other axis, None where unknown.

    Raises `InputError` for values that are not positive, that smell of mm or cm, or that no shape can have
    (I ≤ A·depth²/4; Wpl ≥ Wel; Wpl ≤ A·depth/2; As, Av ≤ A).
    """

    name: str = ""
    A: float
    I: float  # noqa: E741 - the trade's symbol
    Wel: float
    Wpl: float
    As: float
    depth: float
    Av: float = None  # type: ignore[assignment]  # always a number once made
    centroid: float = None  # type: ignore[assignment]
    weak: "Section | None" = field(default=None, compare=False, repr=False)

    def __post_init__(self) -> None:
        label = f"section {self.name}" if self.name else "section"
        length(f"{label}: depth", self.depth)
        positive(f"{label}: A", self.A)
        positive(f"{label}: I", self.I)
        positive(f"{label}: Wel", self.Wel)
        positive(f"{label}: Wpl", self.Wpl)
        positive(
            f"{label}: As", self.As, hint="to neglect shear deformation say so to the member, not with As = 0"
        )
        if self.Av is None:
            object.__setattr__(self, "Av", self.As)
        if self.centroid is None:
            object.__setattr__(self, "centroid", self.depth / 2.0)
        within(f"{label}: centroid", self.centroid, 0.0, self.depth, open_low=True, open_high=True)
        positive(f"{label}: Av", self.Av)
        _no_more(f"{label}: A", self.A, 25.0, "25 m²", "A in mm² or cm²; write 5380*mm2 or 53.8*cm2")
        _no_more(
            f"{label}: I",
            self.I,
            self.A * self.depth**2 / 4.0,
            "A·depth²/4",
            "I in mm⁴ or cm⁴, or A or depth in another unit",
        )
        _no_more(
            f"{label}: Wpl",
            self.Wpl,
            self.A * self.depth / 2.0,
            "A·depth/2",
            "Wpl in cm³ or mm³; write 628*cm3",
        )
        _no_more(f"{label}: Wel", self.Wel, self.Wpl, "Wpl", "Wel and Wpl exchanged, or in different units")
        _no_more(f"{label}: As", self.As, self.A, "A", "As in another unit than A")
        _no_more(f"{label}: Av", self.Av, self.A, "A", "Av in another unit than A")

    @property
    def Iz(self) -> float:
        """Second moment about the other axis, m⁴."""
        return self.turned().I

    @property
    def radius(self) -> float:
        """Radius of gyration √(I/A), m."""
        return float((self.I / self.A) ** 0.5)

    @property
    def shape_factor(self) -> float:
        """Wpl/Wel."""
        return self.Wpl / self.Wel

    def turned(self) -> "Section":
        """The same section bent about its other axis; raises `InputError` where that axis is unknown."""
        if self.weak is None:
            raise InputError(f"section {self.name or '(no name)'} does not know its other axis; give `weak=`")
        return self.weak if self.weak.weak else replace(self.weak, weak=self)

    def summary(self) -> str:
        """One line in the handbook's units."""
        return (
            f"{self.name or 'section'}: depth {self.depth * 1e3:.1f} mm, A {self.A * 1e4:.2f} cm², "
            f"I {self.I * 1e8:.1f} cm⁴, Wel {self.Wel * 1e6:.1f} cm³, Wpl {self.Wpl * 1e6:.1f} cm³, "
            f"As {self.As * 1e4:.2f} cm², Av {self.Av * 1e4:.2f} cm²"
        )


def _no_more(thing: str, value: float, limit: float, formula: str, hint: str) -> None:
    if value > _SLACK * limit:
        raise InputError(
            f"{thing} is {value:g}; allowed: at most {formula} = {limit:g}. Likely mistake: {hint}"
        )
