"""The references of the speed figures solve the task they are compared with."""

import numpy as np
import pytest

from benchmarks.motions_speed import (
    by_lfilter,
    by_lsim,
    by_numpy,
    invented_pool,
    invented_suite,
    spectra_figures,
)
from frame2d.motions import response_spectra
from frame2d.motions.subset import best_sets


def test_scipy_solves_the_same_oscillators():
    """Sampled displacement peaks by both of scipy's ways equal ours."""
    (record,) = invented_suite(1, 500)
    for period in (0.05, 1.0):
        ours = float(response_spectra(record, period, 0.05, at="samples", tail=0.0).SD)
        assert by_lsim(record, period) == pytest.approx(ours, rel=1e-9)
        assert by_lfilter(record, period) == pytest.approx(ours, rel=1e-6)


def test_numpy_scores_the_same_sets():
    """The best sets found have the score that the vectorised reference gives them."""
    scores, factors, sets, _, _ = best_sets(
        invented_pool(), 3, spread=0.1, share=0.9, keep=3, exact_limit=1e9, seed=0, starts=1
    )
    raised = factors > 1.0
    assert not raised.all()
    assert np.allclose(by_numpy(invented_pool(), sets)[~raised], scores[~raised])


def test_figures_are_complete():
    """Each figure has a name, a median within its spread, and a verdict where a goal is set."""
    rows = spectra_figures(repeats=1, records=2, samples=200)
    assert all(row["low"] <= row["value"] <= row["high"] for row in rows)
    assert [row["ok"] is None for row in rows] == [row["goal"] == "" for row in rows]
