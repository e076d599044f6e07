"""A frame divided in parts: split, condensation, partitioned integration tied by Lagrange multipliers."""

from frame2d.substructure.cut import cut_at
from frame2d.substructure.lost import AxialEffect, Lost, axial_effect, lost_forces
from frame2d.substructure.split import Split, split

__all__ = ["AxialEffect", "Lost", "Split", "axial_effect", "cut_at", "lost_forces", "split"]
