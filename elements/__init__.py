"""Members and links: what ties two nodes. One family a file; the list below is the registry.

| family | for | nonlinear by | geometry |
| --- | --- | --- | --- |
| BeamColumn | beams, columns, hinged and weakened beams | hinge laws at or inside the ends | all three |
| Brace | braces, struts, ties, dampers | its axial law | all three |
| Link | devices and hinges between two nodes at one point | a law per direction | none: no length, no drift to act on |
| ShearLink | short links in shear | its shear law | all three |
"""

from typing import Any

from frame2d import materials
from frame2d.elements.beam_column import PINNED, RIGID, BeamColumn
from frame2d.elements.brace import Brace
from frame2d.elements.link import Link
from frame2d.elements.member import Member, Part, Pieces
from frame2d.elements.shear_link import ShearLink
from frame2d.errors import InputError, known
from frame2d.materials.pair_hinge import build_hinge

_registry: dict[str, type] = {family.__name__: family for family in (BeamColumn, Brace, Link, ShearLink)}


def register(family: type) -> type:
    """Add a member family to the registry (usable as a decorator)."""
    _registry[family.__name__] = family
    return family


def build(description: dict[str, Any]) -> Any:
    """Make a member of what its `describe` returned; raises `InputError` for unknown names and properties."""
    values = dict(description)
    family = _registry[known("family", values.pop("family", None), _registry)]
    for key, value in values.items():
        if isinstance(value, dict) and "law" in value:
            values[key] = materials.build(value)
        elif isinstance(value, dict) and "hinge" in value:
            values[key] = build_hinge(value)
        elif isinstance(value, list):
            values[key] = tuple(value)
    try:
        return family(**values)
    except TypeError as error:
        raise InputError(f"{family.__name__} does not take these properties: {error}") from None


__all__ = [
    "PINNED", "RIGID", "BeamColumn", "Brace", "Link", "Member", "Part", "Pieces", "ShearLink", "build", "register",
]  # fmt: skip
