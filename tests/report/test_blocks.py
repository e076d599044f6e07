"""Blocks that other rooms' results become: hybrid tests, matrices of runs, incremental runs."""

import json

import numpy as np
import pytest

from frame2d.campaign import Curve, Finished, fragility, grid
from frame2d.hybrid import Outcome
from frame2d.hybrid.limits import Action, Event
from frame2d.report import (
    build_report,
    fragility_block,
    hybrid_block,
    intensity_curves,
    matrix_table,
    save_outcome,
    write_summary,
)
from frame2d.report.contents import plain


def outcome(steps=400) -> Outcome:
    """An invented test of one freedom that lags by 1 %."""
    t = 0.01 * np.arange(1, steps + 1)
    wanted = np.sin(2 * np.pi * t)[:, None] * 0.02
    force = 1e6 * wanted
    events = [Event("tracking", Action.WARN, "tracking error near its limit", "solver", 12)]
    return Outcome(
        "completed",
        steps,
        wanted,
        wanted,
        0.99 * wanted,
        force,
        1e-3 * t,
        np.full(steps, 2e-3),
        0 * t,
        events,
    )


def test_a_hybrid_test_becomes_a_section(tmp_path):
    """Tracking error, energy error, events and step times are told, and drawn from the stored histories."""
    path = save_outcome(outcome(), 0.01, tmp_path / "dl.test.h5")
    block = hybrid_block(outcome(), path.name, ("brace",))
    facts = {f["name"]: f["value"] for f in block["facts"]}
    assert facts["Largest tracking error"] == pytest.approx(0.2, rel=1e-3)
    assert facts["Largest energy error"] == pytest.approx(0.4) and facts[
        "Step time, median"
    ] == pytest.approx(2.0)
    assert block["tables"][1]["rows"] == [[12, "solver", "tracking", "warn", "tracking error near its limit"]]
    write_summary(tmp_path, {"title": "t", "rehearsal": block})
    text = build_report(tmp_path).read_text(encoding="utf-8")
    assert "brace: synchrony" in text and "energy error" in text and "near its limit" in text


def test_a_matrix_shows_values_and_what_failed():
    """Cells are values in the unit of print, or the status of a run without result; the note counts them."""
    jobs = grid(cut=["low", "high"], record=["a", "b"])
    runs = [Finished(job, "completed", {"error": 0.01 * (k + 1)}) for k, job in enumerate(jobs[:3])]
    runs.append(Finished(jobs[3], "not converged", {}, "no equilibrium"))
    made = matrix_table(runs, "error", "cut", "record", caption="Errors.", factor=100.0, unit="%")
    assert made["rows"] == [["low", 1.0, 2.0], ["high", pytest.approx(3.0), "not converged"]]
    assert made["note"] == "4 runs: 3 completed, 1 not converged."


def test_incremental_runs_and_fragility_are_drawn(tmp_path):
    """Curves begin at zero and end where nothing is known; the fragility's numbers stand in the summary."""
    factor = np.array([0.5, 1.0, 2.0, 3.0])
    found = [Curve(f"r{k}", factor, factor * (0.008 + 0.002 * k), ("completed",) * 4) for k in range(4)]
    found.append(Curve("lost", factor, np.array([0.004, np.nan, 0.03, np.inf]), ()))
    fitted = fragility(found, 0.02)
    curves = intensity_curves(found, caption="IDA.", demand="largest drift (%)", factor=100.0, limit=0.02)
    assert (
        curves["series"][0]["x"][0] == 0.0
        and len(curves["series"][4]["x"]) == 3
        and len(curves["series"]) == 6
    )
    block = fragility_block(fitted, found, limit="2 % drift")
    block["curves"].insert(0, curves)
    json.dumps(plain(block), allow_nan=False)
    write_summary(tmp_path, {"title": "t", "reduction": block})
    text = build_report(tmp_path).read_text(encoding="utf-8")
    assert f"{fitted.median:.4g}"[:4] in text and "never as collapse" in text and text.count("<svg") == 2


def test_a_limit_state_that_broke_off_is_reported_as_that(campaign, tmp_path):
    """A test without equilibrium appears with its histories up to there, not judged, and without what it does not have."""
    from dataclasses import replace

    from frame2d.analysis import AnalysisError, Outcome, time_history
    from frame2d.campaign import Campaign, ComputedRunner, LimitState
    from frame2d.report import limit_state_entry

    _, system, (tests, _) = campaign

    def stops(system, shaking, state, *, factor):
        response = time_history(system, shaking, state, factor=factor)
        raise AnalysisError("no equilibrium", replace(response, outcome=Outcome.NOT_CONVERGED))

    from types import SimpleNamespace

    record = SimpleNamespace(acceleration=np.sin(0.1 * np.arange(60.0)), dt=0.01, name="short")
    broken = Campaign(
        ComputedRunner(system, {}, stops), [LimitState("broken", record)], folder=tmp_path / "c"
    ).run()
    still = replace(tests[0].measured, floors={k: 0.0 * v for k, v in tests[0].measured.floors.items()})
    nothing = replace(tests[0], measured=still, folder=None, limit_state="still", key="still")
    entries = [limit_state_entry(result, tmp_path) for result in (broken[0], nothing)]
    assert entries[0]["inspection"]["verdict"] == "not judged" and "scene" in entries[0]["files"]
    write_summary(tmp_path, {"title": "t", "limit_states": entries})
    text = build_report(tmp_path).read_text(encoding="utf-8")
    assert "not a collapse" in text and "not judged" in text and 'id="at-broken"' in text
