"""Cross-sections from their dimensions, European rolled sizes by name, and steel grades.

| maker | section | source of the formulas |
| --- | --- | --- |
| `european` | IPE, HE A, HE B, HE M by name | EN 10365 |
| `rolled_i` | I with root fillets | exact geometry |
| `weakened_i` | I with cut flanges, at the narrowest place | exact geometry |
| `welded_i` | I of three plates, flanges may differ | exact geometry |
| `rectangular_tube`, `circular_tube` | hollow, corners rounded on request | exact geometry |
| `solid_rectangle`, `solid_round` | bars, pins, plates | exact geometry |
| `plates` | stacked or side-by-side rectangles | exact geometry |
| `composite` | several sections acting as one | parallel axes |
"""

from frame2d.sections.combined import composite, plates
from frame2d.sections.european import european, european_names
from frame2d.sections.grades import Steel, grade
from frame2d.sections.i_shapes import ISection, rolled_i, weakened_i, welded_i
from frame2d.sections.section import Section
from frame2d.sections.solids import solid_rectangle, solid_round
from frame2d.sections.tubes import circular_tube, rectangular_tube

__all__ = [
    "ISection",
    "Section",
    "Steel",
    "circular_tube",
    "composite",
    "european",
    "european_names",
    "grade",
    "plates",
    "rectangular_tube",
    "rolled_i",
    "solid_rectangle",
    "solid_round",
    "weakened_i",
    "welded_i",
]
