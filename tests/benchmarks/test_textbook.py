"""Every verification case against its reference, through the same run as ``python -m benchmarks textbook``."""

import functools
from collections.abc import Mapping, Sequence
from typing import Any

import pytest

from benchmarks import textbook

#: Values that cannot be met yet, with the reason: (case, key), or (case, None) for all of a case.
MISSING: dict[tuple[str, str | None], str] = {}


@functools.cache
def results(case: str) -> tuple[dict[str, Any], ...]:
    """The run of one case, made once."""
    return tuple(textbook.run([case]))


def expectations(cases: list[str], missing: Mapping[tuple[str, str | None], str]) -> list[Any]:
    """Every case without what is listed as missing of it, then every listed value as a strict expected failure.

    An entry is the case and the key of a value; None stands for all values that are not listed.
    """
    listed = [
        pytest.param(
            case,
            key or "every value",
            missing,
            marks=pytest.mark.xfail(strict=True, reason=why),
            id=f"{case} {key}",
        )
        for (case, key), why in missing.items()
    ]
    return [pytest.param(case, None, missing, id=case) for case in cases] + listed


def unmet(
    found: Sequence[dict[str, Any]], key: str | None, missing: Mapping[tuple[str, str | None], str]
) -> list[str]:
    """What is not ok, of one value, of "every value", or (None) of those that are not listed as missing."""

    def asked(result: dict[str, Any]) -> bool:
        case = result["case"]
        if key is None:
            return (case, result["key"]) not in missing and (case, None) not in missing
        return key in ("every value", result["key"])

    return [textbook.text(result) for result in found if asked(result) and not result["ok"]]


@pytest.mark.parametrize(("case", "key", "missing"), expectations(textbook.cases(), MISSING))
def test_values_agree_with_their_reference(
    case: str, key: str | None, missing: Mapping[tuple[str, str | None], str]
) -> None:
    """All values of a case are within their tolerance; one that is listed as missing is not, until it leaves the list."""
    wrong = unmet(results(case), key, missing)
    assert not wrong, "\n".join(wrong)


def test_a_missing_value_is_a_strict_expected_failure() -> None:
    """A listed value is left out of its case and fails on its own, strictly; a listed case likewise as a whole."""
    missing: dict[tuple[str, str | None], str] = {("X-1", "b"): "not yet", ("X-2", None): "no answer"}
    found = [
        {
            "case": case,
            "key": key,
            "ok": key == "a",
            "value": 1.0,
            "expected": 1.0,
            "error": 0.0,
            "tolerance": 0.1,
        }
        | {"source": "invented", "quantity": "invented", "reason": ""}
        for case, key in (("X-1", "a"), ("X-1", "b"), ("X-2", "a"), ("X-2", "b"))
    ]
    entries = expectations(["X-1", "X-2"], missing)
    assert [entry.values[:2] for entry in entries] == [
        ("X-1", None), ("X-2", None), ("X-1", "b"), ("X-2", "every value"),
    ]  # fmt: skip
    for entry in entries:
        case, key, listed = entry.values
        own = [result for result in found if result["case"] == case]
        assert bool(unmet(own, key, listed)) == bool(entry.marks)
    marks = [mark for entry in entries for mark in entry.marks]
    assert [mark.kwargs["strict"] for mark in marks] == [True, True]
    assert [mark.kwargs["reason"] for mark in marks] == ["not yet", "no answer"]
    assert unmet(found[1:2], None, {})


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
