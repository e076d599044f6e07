"""Zero-length link: laws on the local axial, transverse and rotational deformations between two nodes, at any angle."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.elements.member import Pieces, described
from frame2d.elements.spring import spring_part
from frame2d.errors import InputError, finite
from frame2d.materials.law import Law


@dataclass(frozen=True)
class Link:
    """Laws between two nodes: `axial` along `angle` (rad from x, counter-clockwise), `transverse` across, `rotation`.

    Deformations are second node minus first (m, m, rad), tension positive. Nodes may lie apart: the laws see the
    difference of displacements all the same, so keep them at one point unless that is meant.
    """

    axial: Law | None = None
    transverse: Law | None = None
    rotation: Law | None = None
    angle: float = 0.0

    def __post_init__(self) -> None:
        finite("Link.angle", self.angle)
        for name in ("axial", "transverse", "rotation"):
            law = getattr(self, name)
            if law is not None and not isinstance(law, Law):
                raise InputError(
                    f"Link.{name} is {law!r}; allowed: a law. Likely mistake: a stiffness, use Elastic(k)"
                )
        if not self.laws():
            raise InputError("a Link has no law; allowed: at least one of axial, transverse, rotation")

    def laws(self) -> dict[str, Law]:
        """Laws by direction."""
        named = {"axial": self.axial, "transverse": self.transverse, "rotation": self.rotation}
        return {name: law for name, law in named.items() if law is not None}

    def describe(self) -> dict[str, Any]:
        """Plain data."""
        return described(self)

    def pieces(self, xi: float, yi: float, xj: float, yj: float) -> Pieces:
        """One part a law."""
        c, s = math.cos(self.angle), math.sin(self.angle)
        rows = {
            "axial": np.array([-c, -s, 0.0, c, s, 0.0]),
            "transverse": np.array([s, -c, 0.0, -s, c, 0.0]),
            "rotation": np.array([0.0, 0.0, -1.0, 0.0, 0.0, 1.0]),
        }
        return Pieces(parts=[spring_part(law, rows[name], name) for name, law in self.laws().items()])
