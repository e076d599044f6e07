"""Forms of laws made of laws: the numbers of an inner law bear its name or its place, `inner.k`, `1.Fy`."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from frame2d.fitting.forms import MEMORY, OWN, PHYSICS, FlatForm, Form
from frame2d.fitting.ranges import Range
from frame2d.materials import Law, LowCycleFatigue, Parallel, Series, Slack

_SLACK = (Range("clearance", "U", 0.0, 0.8, 0.05, "within the deformations of the test", log=False),)
_FATIGUE = (
    Range("one_cycle", "U", 0.5, 500.0, 10.0, OWN),
    Range(
        "exponent",
        "1",
        0.3,
        0.8,
        0.5,
        f"about 0.5 for steel: Coffin 1954, Manson 1953 ({MEMORY})",
        free=False,
    ),
    Range("elastic", "u", 0.0, 4.0, 2.0, "range that does no damage, 2 Fy/k", log=False, free=False),
    Range("loss", "1", 0.0, 0.9, 0.0, PHYSICS, log=False),
)


def _prefixed(prefix: str, ranges: tuple[Range, ...]) -> tuple[Range, ...]:
    return tuple(replace(r, name=f"{prefix}.{r.name}") for r in ranges)


def _part(prefix: str, values: Mapping[str, float]) -> dict[str, float]:
    start = prefix + "."
    return {name[len(start) :]: value for name, value in values.items() if name.startswith(start)}


@dataclass(frozen=True)
class WrappedForm:
    """One law around another (`Slack`, `LowCycleFatigue`)."""

    outer: FlatForm
    inner: Form

    @property
    def name(self) -> str:
        return f"{self.outer.name} of {self.inner.name}"

    @property
    def ranges(self) -> tuple[Range, ...]:
        """Own numbers, then those of the inner law."""
        return (*self.outer.ranges, *_prefixed("inner", self.inner.ranges))

    def build(self, values: Mapping[str, float]) -> Law:
        """The law."""
        own = {r.name: values[r.name] for r in self.outer.ranges}
        return self.outer.law(inner=self.inner.build(_part("inner", values)), **self.outer.others, **own)  # type: ignore[call-arg]

    def read(self, law: Law) -> dict[str, float]:
        """The numbers of a law."""
        inner = self.inner.read(law.inner)  # type: ignore[attr-defined]
        return self.outer.read(law) | {f"inner.{name}": value for name, value in inner.items()}


@dataclass(frozen=True)
class SeveralForm:
    """Laws side by side or in a row, by their places 0, 1, …"""

    law: type[Parallel] | type[Series]
    parts: tuple[Form, ...]

    @property
    def name(self) -> str:
        return f"{self.law.__name__} of {', '.join(part.name for part in self.parts)}"

    @property
    def ranges(self) -> tuple[Range, ...]:
        """The numbers of all parts."""
        return tuple(r for i, part in enumerate(self.parts) for r in _prefixed(str(i), part.ranges))

    def build(self, values: Mapping[str, float]) -> Law:
        """The law."""
        return self.law(tuple(part.build(_part(str(i), values)) for i, part in enumerate(self.parts)))

    def read(self, law: Law) -> dict[str, float]:
        """The numbers of a law."""
        read: dict[str, float] = {}
        for i, (part, inner) in enumerate(zip(self.parts, law.laws, strict=True)):  # type: ignore[attr-defined]
            read |= {f"{i}.{name}": value for name, value in part.read(inner).items()}
        return read


def wrapped(law: Law, inner: Form) -> WrappedForm:
    """Form of a law around another."""
    if isinstance(law, Slack):
        return WrappedForm(FlatForm(Slack, _SLACK), inner)
    assert isinstance(law, LowCycleFatigue)
    return WrappedForm(FlatForm(LowCycleFatigue, _FATIGUE, {"drop": law.drop}), inner)
