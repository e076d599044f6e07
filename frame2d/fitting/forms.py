"""How a law is written in named numbers that can be searched: its form.

A form says which numbers, in which ranges, and builds the law from them. Laws whose fields are plain numbers
need only a table of ranges (`FlatForm`); envelopes and nested laws have forms of their own.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Protocol

from frame2d.errors import InputError
from frame2d.fitting.ranges import Range
from frame2d.materials.law import Law

K = "initial stiffness of the test; a factor of 3 either way for noise and early yielding (own rule)"
FY = "equal-energy yield of the test; a factor of 3 either way (own rule)"
PHYSICS = "all that the law admits"
MEMORY = "from memory"
PRACTICE = "common practice, no source"
OWN = "own rule"


class Form(Protocol):
    """What the search asks of a law."""

    @property
    def ranges(self) -> tuple[Range, ...]:
        """Every number that can be searched."""

    @property
    def name(self) -> str:
        """Name of the law."""

    def build(self, values: Mapping[str, float]) -> Law:
        """The law with these values of all numbers; raises `InputError` where it does not admit them."""

    def read(self, law: Law) -> dict[str, float]:
        """The numbers of a law."""


@dataclass(frozen=True)
class FlatForm:
    """A law whose searched numbers are its fields; `others` are the fields that stay as they are."""

    law: type[Law]
    ranges: tuple[Range, ...]
    others: dict[str, Any] = field(default_factory=dict)

    @property
    def name(self) -> str:
        return self.law.__name__

    def build(self, values: Mapping[str, float]) -> Law:
        """The law."""
        return self.law(**self.others, **values)

    def read(self, law: Law) -> dict[str, float]:
        """Its fields."""
        return {r.name: float(getattr(law, r.name)) for r in self.ranges}


def flat(
    law: type[Law], ranges: tuple[Range, ...], template: Law | None, options: dict[str, Any]
) -> FlatForm:
    """Flat form with the fields that are not searched taken from the template and the options."""
    searched = {r.name for r in ranges}
    others: dict[str, Any] = {}
    for each in fields(law):
        if each.name in searched:
            continue
        if template is not None:
            others[each.name] = getattr(template, each.name)
    unknown = set(options) - {each.name for each in fields(law)}
    if unknown:
        raise InputError(
            f"{law.__name__} has no field {', '.join(sorted(unknown))}; allowed: "
            f"{', '.join(each.name for each in fields(law))}"
        )
    return FlatForm(law, ranges, others | {k: v for k, v in options.items() if k not in searched})


def own_form(law: type[Law], template: Law, bounds: Mapping[str, Any]) -> FlatForm:
    """Form of a law that has no table: every number among its fields, from a tenth to ten times the template.

    Numbers that are 0 there stay fixed unless `bounds` names them; bounds given by the user replace these.
    """
    ranges = []
    for each in fields(law):
        value = getattr(template, each.name)
        if isinstance(value, bool) or not isinstance(value, int | float):
            continue
        size = abs(float(value))
        low, high = (value / 10.0, value * 10.0) if value >= 0.0 else (value * 10.0, value / 10.0)
        if size == 0.0:
            low, high = 0.0, 1.0
        source = "a tenth to ten times the value given (own rule)"
        ranges.append(
            Range(
                each.name,
                "1",
                low,
                high,
                float(value),
                source,
                log=size > 0.0,
                free=size > 0.0 or each.name in bounds,
            )
        )
    return flat(law, tuple(ranges), template, {})
