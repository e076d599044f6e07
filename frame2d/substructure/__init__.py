"""A frame divided in parts: split, condensation, partitioned integration tied by Lagrange multipliers.

| function | gives |
| --- | --- |
| split | a computed and a tested part, their interface, and what the specimen carries |
| cut_at | a node within a column, for a cut at its point of inflection |
| lost_forces, axial_effect | what the cut loses |
| condense | a linear part in few freedoms |
| parts_of, tie | parts ready to be coupled |
| coupled_history | partitioned integration, each part with its own scheme and step |
"""

from frame2d.substructure.condense import Condensed, condense
from frame2d.substructure.coupling import Coupled, coupled_history
from frame2d.substructure.cut import cut_at
from frame2d.substructure.frame_part import FramePart
from frame2d.substructure.lost import AxialEffect, Lost, axial_effect, lost_forces
from frame2d.substructure.matrix_part import History, MatrixPart
from frame2d.substructure.methods import GravouilCombescure, PegonMagonette, PrakashHjelmstad
from frame2d.substructure.parts_of import parts_of, shared_damping, tie
from frame2d.substructure.split import Split, split

__all__ = [
    "AxialEffect",
    "Condensed",
    "Coupled",
    "FramePart",
    "GravouilCombescure",
    "History",
    "Lost",
    "MatrixPart",
    "PegonMagonette",
    "PrakashHjelmstad",
    "Split",
    "axial_effect",
    "condense",
    "coupled_history",
    "cut_at",
    "lost_forces",
    "parts_of",
    "shared_damping",
    "split",
    "tie",
]
