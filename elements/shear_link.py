"""Short link in shear: a shear law whose force turns into end moments by equilibrium, with its own bending in series.

Natural modes of a short beam of length L: elongation, symmetric bending θj − θi (stiffness EI/L), and antisymmetric
bending δ = vj − vi − L/2·(θi + θj) (stiffness 12EI/L³), in which the shear law acts in series. V gives the moments
−V·L/2 at both ends. Derived from equilibrium; link categories EN 1998-1, 6.8 (from memory).
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.elements.member import Pieces, described
from frame2d.elements.spring import spring_part
from frame2d.errors import InputError, positive
from frame2d.materials.law import Law


@dataclass(frozen=True)
class ShearLink:
    """Link of modulus `E`, area `A`, second moment `I` with a `shear` law (N against m of shear deformation)."""

    E: float
    A: float
    I: float  # noqa: E741
    shear: Law

    def __post_init__(self) -> None:
        for name in ("E", "A", "I"):
            positive(f"ShearLink.{name}", getattr(self, name))
        if not isinstance(self.shear, Law):
            raise InputError(
                f"ShearLink.shear is {self.shear!r}; allowed: a law, force against shear deformation"
            )

    def laws(self) -> dict[str, Law]:
        """The shear law."""
        return {"shear": self.shear}

    def describe(self) -> dict[str, Any]:
        """Plain data."""
        return described(self)

    def pieces(self, xi: float, yi: float, xj: float, yj: float) -> Pieces:
        """Elastic modes as constant stiffness, the shear law as a part on an inner freedom."""
        L = math.hypot(xj - xi, yj - yi)
        if L <= 0.0:
            raise InputError(
                "a ShearLink has length 0; allowed: above 0. Likely mistake: both nodes at one point"
            )
        c, s = (xj - xi) / L, (yj - yi) / L
        stretch = np.array([-c, -s, 0, c, s, 0, 0])
        bend = np.array([0, 0, -1.0, 0, 0, 1.0, 0])
        sway = np.array([s, -c, -L / 2, -s, c, -L / 2, -1.0])
        stiffness = self.E * self.A / L * np.outer(stretch, stretch) + self.E * self.I / L * np.outer(
            bend, bend
        )
        stiffness += 12.0 * self.E * self.I / L**3 * np.outer(sway, sway)
        inner = np.array([0, 0, 0, 0, 0, 0, 1.0])
        return Pieces(
            "u", stiffness, [spring_part(self.shear, inner, "shear")], stiffness.copy(), np.zeros((7, 7))
        )
