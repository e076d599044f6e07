"""A frame divided in parts: split, condensation, partitioned integration tied by Lagrange multipliers."""

from frame2d.substructure.split import Split, split

__all__ = ["Split", "split"]
