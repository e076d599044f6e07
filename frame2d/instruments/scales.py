"""Units that a channel may be declared in: factor to SI and what they measure."""

from frame2d.component_tests.preparing import UNITS
from frame2d.errors import known

#: Strains by their usual spellings; the other units are those of component tests.
STRAINS: dict[str, float] = {
    "m/m": 1.0,
    "strain": 1.0,
    "%": 1e-2,
    "mm/m": 1e-3,
    "‰": 1e-3,
    "µm/m": 1e-6,
    "µε": 1e-6,
    "microstrain": 1e-6,
}

#: SI unit of each dimension, as results print it.
SI = {"strain": "m/m", "length": "m", "angle": "rad", "force": "N", "moment": "N·m", "time": "s"}


def spelled(unit: str) -> str:
    """A unit without the marks of a product and with one kind of micro sign."""
    bare = unit.strip().replace("·", "").replace("*", "").replace(" ", "")
    return bare.replace("\u03bc", "µ").replace("ue", "µε") if bare in ("ue", "με", "\u03bcm/m") else bare


def units_of(dimension: str) -> dict[str, float]:
    """Units of one dimension and their factors to SI."""
    if dimension == "strain":
        return dict(STRAINS)
    return {name: factor for name, (factor, measures) in UNITS.items() if measures == dimension}


def factor_of(thing: str, unit: str, dimension: str) -> float:
    """Factor of `unit` to SI; raises `InputError` for a unit of another dimension."""
    allowed = units_of(dimension)
    return allowed[known(thing, spelled(unit), allowed)]
