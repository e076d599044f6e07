"""Short link in shear: a shear law whose force turns into end moments by equilibrium, with its own bending in series.

Natural modes of a short beam of length L: elongation, symmetric bending θj − θi (stiffness EI/L), and antisymmetric
bending δ = vj − vi − L/2·(θi + θj) (stiffness 12EI/L³), in which the shear law acts in series. V gives the moments
−V·L/2 at both ends. A shear deformation s is a beam whose ends turn by s/L more than the nodes: δ − s is the
antisymmetric mode of these rotations, and so second-order and corotational links are the beam's kernels on them.
Derived from equilibrium; link categories EN 1998-1, 6.8 (from memory).
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.elements.beam_column import local_stiffness, rotation_matrix
from frame2d.elements.beam_kernels import corotational, p_delta, section_terms
from frame2d.elements.member import GEOMETRIES, Part, Pieces, described
from frame2d.elements.spring import spring_part
from frame2d.errors import InputError, known, positive
from frame2d.materials.law import Law


@dataclass(frozen=True)
class ShearLink:
    """Link of modulus `E`, area `A`, second moment `I` with a `shear` law (N against m of shear deformation).

    `geometry`: "linear", "p-delta" (the axial force acts on the drift of its chord, and on its bending) or
    "corotational".
    """

    E: float
    A: float
    I: float  # noqa: E741
    shear: Law
    geometry: str = "linear"

    def __post_init__(self) -> None:
        for name in ("E", "A", "I"):
            positive(f"ShearLink.{name}", getattr(self, name))
        if not isinstance(self.shear, Law):
            raise InputError(
                f"ShearLink.shear is {self.shear!r}; allowed: a law, force against shear deformation"
            )

        known("ShearLink.geometry", self.geometry, GEOMETRIES)

    def laws(self) -> dict[str, Law]:
        """The shear law."""
        return {"shear": self.shear}

    def describe(self) -> dict[str, Any]:
        """Plain data."""
        return described(self)

    def pieces(self, xi: float, yi: float, xj: float, yj: float) -> Pieces:
        """Elastic modes, and the shear law as a part on an inner freedom."""
        L = math.hypot(xj - xi, yj - yi)
        if L <= 0.0:
            raise InputError(
                "a ShearLink has length 0; allowed: above 0. Likely mistake: both nodes at one point"
            )
        c, s = (xj - xi) / L, (yj - yi) / L
        # Displacements and section rotations of the ends, which turn by the shear deformation over L.
        ends = np.eye(6, 7)
        ends[[2, 5], 6] = 1.0 / L
        terms = section_terms(self.E, self.A, self.I, 0.0, L)
        local = rotation_matrix(c, s) @ ends
        elastic = local.T @ local_stiffness(terms, L) @ local
        inner = np.array([0, 0, 0, 0, 0, 0, 1.0])
        parts = [spring_part(self.shear, inner, "shear")]
        if self.geometry == "linear":
            return Pieces("u", elastic, parts, elastic.copy(), np.zeros((7, 7)))
        kernel = p_delta if self.geometry == "p-delta" else corotational
        parts.insert(0, Part(kernel, np.concatenate([[L, c, s], terms]), np.zeros(0), ends, "link"))
        return Pieces("u", np.zeros((7, 7)), parts, elastic, np.zeros((7, 7)))
