"""Ensembles: the same numbers as single runs, in order; what fails or is interrupted loses nothing else."""

from types import SimpleNamespace

import numpy as np
import pytest

from frame2d import BeamColumn, Frame, InputError, Outcome, Rayleigh, gravity, time_history
from frame2d.analysis.ensemble import ensemble
from frame2d.materials import BoucWen


def portal():  # type: ignore[no-untyped-def]
    """One storey with hinges at the beam's ends, standing under its weight."""
    frame = Frame("portal")
    for axis in range(2):
        frame.node(f"foot {axis}", 6.0 * axis, 0.0, "fixed")
        frame.node(f"top {axis}", 6.0 * axis, 3.5)
        frame.mass(f"top {axis}", 2e4)
        frame.load(f"top {axis}", fy=-2e5)
        frame.member(
            f"column {axis}",
            f"foot {axis}",
            f"top {axis}",
            BeamColumn(210e9, 0.0149, 2.5e-4, geometry="p-delta"),
        )
    hinge = BoucWen(k=3e7, Fy=1.5e5, a=0.01)
    frame.member("beam", "top 0", "top 1", BeamColumn(210e9, 0.00848, 2.3e-4, start=hinge, end=hinge))
    system = frame.compile()
    return system, gravity(system).state


def records(count: int) -> list[SimpleNamespace]:
    """Invented noise."""
    return [
        SimpleNamespace(
            acceleration=3.0 * np.random.default_rng(seed).normal(size=200), dt=0.01, name=f"noise {seed}"
        )
        for seed in range(count)
    ]


def test_threads_give_the_numbers_of_single_runs_in_order():
    """Each run equals the time history of its record to the last bit, whatever the number of threads."""
    system, state = portal()
    suite, damping = records(5), Rayleigh(0.03, (1, 2))
    runs = ensemble(system, suite, state, threads=3, damping=damping)
    for record, run in zip(suite, runs, strict=True):
        alone = time_history(system, record, state, damping=damping)
        assert run.record is record and run.outcome is Outcome.COMPLETED
        assert np.array_equal(run.result.log.q, alone.log.q)


def test_a_run_that_fails_is_no_collapse_and_stops_no_other(monkeypatch):
    """A record that the engine cannot follow has its own outcome, message and partial response."""
    monkeypatch.setattr("frame2d.analysis.history.STRONGEST", np.inf)  # no real motion is too strong
    system, state = portal()
    suite = records(3)
    suite[1].acceleration = np.where(np.arange(200) > 100, 1e12, 0.0)
    runs = ensemble(system, suite, state, keep=lambda response: response.time.size)
    assert [run.outcome for run in runs] == [
        Outcome.COMPLETED,
        Outcome.NOT_CONVERGED,
        Outcome.COMPLETED,
    ]
    assert runs[0].result == 200 and 100 <= runs[1].result < 200 and runs[1].message


def test_an_interruption_keeps_what_is_finished():
    """After an interruption the finished runs are there and the others are None."""
    system, state = portal()
    finished = []

    def keep(response):  # type: ignore[no-untyped-def]
        if len(finished) == 2:
            raise KeyboardInterrupt
        finished.append(response)
        return response.time.size

    runs = ensemble(system, records(6), state, threads=1, keep=keep)
    assert [run is not None for run in runs] == [True, True, False, False, False, False]


def test_bad_ensembles_are_refused():
    """No records, no threads and a bad record are errors that say so."""
    system, state = portal()
    with pytest.raises(InputError, match="records is empty"):
        ensemble(system, [], state)
    with pytest.raises(InputError, match="threads"):
        ensemble(system, records(1), state, threads=0)
    bad = records(2)
    bad[1].acceleration[3] = np.nan
    with pytest.raises(InputError, match="not a number at sample 3"):
        ensemble(system, bad, state)
