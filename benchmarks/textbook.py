"""Textbook comparison: every verification case, solved through the public interface, beside its reference.

Each value is an object with `case`, `key`, `value`, `expected`, `error`, `tolerance`, `ok`, `source`, and `reason`
where the value is missing. Expected values, tolerances and sources stand in ``checks/expected.json``; the case
functions in ``checks/`` never see them.
"""

import argparse
import importlib
import json
import math
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

EXPECTED = Path(__file__).parent / "checks" / "expected.json"

#: File of `checks` by the letters of a case.
AREAS = {
    "LS": "statics",
    "ST": "stability",
    "LR": "large_rotation",
    "PL": "plastic",
    "HY": "hysteresis",
    "MO": "modal",
    "TR": "transient",
    "IN": "integrators",
    "RS": "spectra",
    "SU": "substructuring",
    "IX": "indices",
    "LP": "protocols",
    "DA": "damping",
}

#: What a case function returns: a value by key, or the reason (text) why there is none.
Answers = dict[str, float | str]


def expected() -> list[dict[str, Any]]:
    """Rows of the table of expected values."""
    rows: list[dict[str, Any]] = json.loads(EXPECTED.read_text(encoding="utf-8"))
    return rows


def cases() -> list[str]:
    """Names of all cases in the order of the table."""
    return list(dict.fromkeys(row["case"] for row in expected()))


def function(case: str) -> Callable[[], Answers]:
    """The function that solves a case, for instance `checks.statics.ls_1` for LS-1."""
    area, number = case.split("-")
    solve: Callable[[], Answers] = getattr(
        importlib.import_module(f"benchmarks.checks.{AREAS[area]}"), f"{area.lower()}_{number}"
    )
    return solve


def within(value: float, row: dict[str, Any]) -> tuple[float, bool]:
    """Error of a value, relative or absolute as the row's tolerance says, and whether it is good enough."""
    tolerance, target = row["tolerance"], row["expected"]
    if tolerance == "exact":
        return value - target, value == target
    if tolerance == "information":
        return value - target, True
    if isinstance(tolerance, dict):
        error = value - target
        return error, abs(error) <= tolerance["abs"]
    error = (value - target) / abs(target)
    return error, abs(error) <= tolerance


def run(names: Iterable[str] | None = None) -> list[dict[str, Any]]:
    """Solve cases (all by default) and compare; a value that is missing is not ok and says why."""
    rows = expected()
    wanted = list(names or cases())
    results = []
    for case in wanted:
        why = "the case gives no such value"
        answers: Answers = {}
        try:
            answers = function(case)()
        except Exception as error:  # a case that fails is a result, and must not hide the others
            why = f"{type(error).__name__}: {error}"
        for row in (row for row in rows if row["case"] == case):
            value = answers.get(row["key"], why)
            result = {"case": case, "key": row["key"], "quantity": row["quantity"], "unit": row["unit"]}
            if isinstance(value, str) or not math.isfinite(value):
                reason = value if isinstance(value, str) else "the value is not finite"
                result |= {"value": None, "error": None, "ok": False, "reason": reason}
            else:
                error_, ok = within(float(value), row)
                result |= {"value": float(value), "error": float(error_), "ok": bool(ok)}
                if not ok:
                    result["reason"] = "outside the tolerance"
            result |= {name: row[name] for name in ("expected", "tolerance", "source")}
            results.append(result)
    return results


def text(result: dict[str, Any]) -> str:
    """One line: mark, case, key, value, expected, error, tolerance."""
    tolerance = result["tolerance"]
    limit = f"abs {tolerance['abs']:g}" if isinstance(tolerance, dict) else f"{tolerance}"
    mark = "ok    " if result["ok"] else "NOT OK"
    value = "-" if result["value"] is None else f"{result['value']:.12g}"
    error = "-" if result["error"] is None else f"{result['error']:.1e}"
    line = f"{mark} {result['case']:5} {result['key']:24} {value:>18} {result['expected']:>18.12g} {error:>9} {limit:>10}"
    return line if result["ok"] else f"{line}  {result['reason']}"


def main(args: argparse.Namespace) -> int:
    """Print the comparison, write it as JSON on request; returns 0 when every value is ok."""
    results = run([name.upper() for name in args.cases])
    source = ""
    for result in results:
        if result["source"] != source:
            source = result["source"]
            print(f"\n{result['case']}  {source}")
        print(text(result))
    good = sum(result["ok"] for result in results)
    print(f"\n{good} of {len(results)} values ok, {len({result['case'] for result in results})} cases")
    if args.json:
        Path(args.json).write_text(json.dumps(results, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    return 0 if good == len(results) else 1
