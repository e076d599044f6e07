"""Every verification case against its reference, through the same run as ``python -m benchmarks textbook``."""

import functools
from typing import Any

import pytest

from benchmarks import textbook

#: Values that cannot be met yet, with the reason: (case, key), or (case, None) for all of a case.
MISSING: dict[tuple[str, str | None], str] = {}


@functools.cache
def results(case: str) -> tuple[dict[str, Any], ...]:
    """The run of one case, made once."""
    return tuple(textbook.run([case]))


def missing(result: dict[str, Any]) -> str | None:
    """Why a value is on the list of what cannot be met."""
    return MISSING.get((result["case"], result["key"]), MISSING.get((result["case"], None)))


@pytest.mark.parametrize("case", [case for case in textbook.cases() if (case, None) not in MISSING])
def test_case_agrees_with_its_reference(case: str) -> None:
    """All values of a case that are not listed as missing are within their tolerance."""
    wrong = [textbook.text(result) for result in results(case) if not result["ok"] and not missing(result)]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    ("case", "key"),
    [
        pytest.param(case, key, marks=pytest.mark.xfail(strict=True, reason=why))
        for (case, key), why in MISSING.items()
    ],
)
def test_value_that_cannot_be_met_yet(case: str, key: str | None) -> None:
    """A listed value is not met; once it is, it must leave the list."""
    assert all(result["ok"] for result in results(case) if key in (None, result["key"]))


def test_table_is_whole() -> None:
    """The table of expected values holds all 41 cases and 740 values, each with a source and its own key."""
    rows = textbook.expected()
    assert len(rows) == 740
    assert len(textbook.cases()) == 41
    assert len({(row["case"], row["key"]) for row in rows}) == 740
    assert all(row["source"] for row in rows)


def test_tolerances_are_kept() -> None:
    """A value just inside its tolerance is ok and one just outside is not, for every kind of tolerance."""
    for tolerance, inside, outside in (
        (1e-3, 2.0019, 2.0021),
        ({"abs": 0.01}, 1.991, 1.989),
        ("exact", 2.0, 2.1),
    ):
        row = {"expected": 2.0, "tolerance": tolerance}
        assert textbook.within(inside, row)[1]
        assert not textbook.within(outside, row)[1]


def test_failing_case_is_listed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A case that fails gives every value of it as not ok, with the reason."""

    def failing() -> dict[str, float]:
        raise ValueError("no answer")

    monkeypatch.setattr("benchmarks.checks.statics.ls_1", failing)
    listed = textbook.run(["LS-1"])
    assert [result["ok"] for result in listed] == [False] * 5
    assert all("no answer" in result["reason"] for result in listed)
