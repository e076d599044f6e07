"""Return periods of limit states and the ground acceleration that goes with them."""

import math
from dataclasses import dataclass

from frame2d.errors import positive, within

#: Reference return period of the design ground acceleration: 10 % in 50 years (EN 1998-1:2004, 2.1(1)P).
REFERENCE_PERIOD = 475.0


@dataclass(frozen=True)
class LimitState:
    """A limit state of the structure with the return period (years) of its seismic action."""

    name: str
    return_period: float
    source: str

    def __post_init__(self) -> None:
        positive(f"return period of {self.name}", self.return_period, hint="in years")

    def factor(self, k: float = 3.0) -> float:
        """ag of this limit state over the one of 475 years."""
        return hazard_factor(self.return_period, k)


#: EN 1998-3:2005, 2.1(3) P and note: existing structures.
EN1998_3 = (
    LimitState("damage limitation", 225.0, "EN 1998-3:2005, 2.1 (20 % in 50 years)"),
    LimitState("significant damage", 475.0, "EN 1998-3:2005, 2.1 (10 % in 50 years)"),
    LimitState("near collapse", 2475.0, "EN 1998-3:2005, 2.1 (2 % in 50 years)"),
)
#: EN 1998-1:2004, 2.1(1)P and notes: new structures.
EN1998_1 = (
    LimitState("damage limitation", 95.0, "EN 1998-1:2004, 2.1 (10 % in 10 years)"),
    LimitState("no collapse", 475.0, "EN 1998-1:2004, 2.1 (10 % in 50 years)"),
)
#: Draft of the second generation, normal buildings (consequence class 2; from memory).
EN1998_DRAFT = (
    LimitState("damage limitation", 60.0, "second-generation draft of EN 1998-1, from memory"),
    LimitState("significant damage", 475.0, "second-generation draft of EN 1998-1, from memory"),
    LimitState("near collapse", 1600.0, "second-generation draft of EN 1998-1, from memory"),
)


def hazard_factor(return_period: float, k: float = 3.0) -> float:
    """ag(TR)/ag(475 years) = (TR/475)^(1/k); k depends on the region, about 3 (EN 1998-1:2004, 2.1(4) note).

    The same expression is the importance factor of a structure whose action has the return period TR.
    """
    period = positive("return period", return_period, hint="in years")
    return float(
        (period / REFERENCE_PERIOD) ** (1.0 / within("exponent k", k, 0.5, 10.0, hint="k itself, not 1/k"))
    )


def return_period(probability: float, years: float) -> float:
    """Return period in years of an exceedance `probability` in `years`, TR = −years/ln(1 − P) (Poisson)."""
    p = within(
        "probability of exceedance", probability, 0.0, 1.0, open_low=True, open_high=True, hint="0.1 for 10 %"
    )
    return -positive("years", years) / math.log1p(-p)
