"""Zero, constant, unequal and broken histories get a clear answer."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from frame2d.compare import (
    compare,
    correlation_delay,
    frequency_index,
    local_delay,
    nrmse,
    on_times,
    peak,
    residual_difference,
    rmse,
    sprague_geers,
    work_error,
)
from frame2d.errors import InputError

X = np.sin(np.arange(200) * 0.1)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: rmse(X, X[:-1]), "200 samples, compared 199.*on_times"),
        (lambda: rmse(X, np.where(np.arange(200) == 7, np.nan, X)), "compared holds 1 values.*sample 7"),
        (lambda: rmse(X.reshape(2, 100), X), "one dimension"),
        (lambda: rmse([], []), "2 samples or more"),
        (lambda: rmse("abc", X), "not a history of numbers"),
        (lambda: rmse(X, 1e200 * X), "compared reaches .*blew up"),
        (lambda: nrmse(1e-310 * X, X, "peak"), "not defined"),
        (lambda: nrmse(0 * X, X, "rms"), "√mean x² of the reference is 0"),
        (lambda: nrmse(0 * X + 5.1, X, "std"), "not defined"),
        (lambda: nrmse(X, X, "rmz"), "did you mean 'rms'"),
        (lambda: sprague_geers(X, 0 * X), "Σy² of the compared history"),
        (lambda: frequency_index(0 * X + 5.1, X, 0.1), "spectrum of the reference"),
        (lambda: frequency_index(X, X, 0.1, band=(2.0, 1.0)), "low < high"),
        (lambda: frequency_index(X, X, 0.0), "dt is 0"),
        (lambda: correlation_delay(0 * X + 5.1, X, 0.1), "variation of the reference"),
        (lambda: correlation_delay(X, 0 * X, 0.1), "variation of the compared"),
        (
            lambda: correlation_delay(X, np.roll(X, 20), 0.1, longest=1.0),
            "end of the search",
        ),
        (lambda: correlation_delay(X, X, 0.1, longest=0.01), "at least one step"),
        (lambda: local_delay(0 * X + 5.1, X, 0.1), "variation of the reference"),
        (lambda: peak(np.abs(X), X, 0.1, -1), "no peak below zero"),
        (lambda: peak(X, X, 0.1, 2), "sign is 2"),
        (lambda: residual_difference(X, X, 0), "samples is 0"),
        (lambda: work_error(X, X, X, X[:-1]), "samples"),
        (lambda: work_error([0, 1, 0], [0, 1, 0], [0, 1, 0], [0, 1, 0]), "work of the reference at the end"),
        (lambda: on_times([0.0, 2.0], [0.0, 1.0], [0.0, 1.0]), "they|share"),
        (lambda: on_times([0.0], [0.0, 0.0], [0.0, 1.0]), "do not increase at sample 1"),
        (lambda: compare(X, X, 0.1, forces=(X, X[:-1])), "reference force"),
    ],
)
def test_clear_errors(call: Callable[[], object], says: str) -> None:
    """What cannot be compared is refused with the thing, the sample and the likely mistake."""
    with pytest.raises(InputError, match=says):
        call()


def test_undefined_indices_are_rows_that_say_why() -> None:
    """Against a zero reference the table still holds what is defined, and says why the rest is not."""
    table = compare(0 * X, X, 0.1, unit="m")
    assert table["rmse"] == pytest.approx(np.sqrt(np.mean(X**2)))
    assert table.as_dict()["nrmse_range"] is None
    assert "not defined" in table.index("nrmse_range").note
    assert "undefined" in str(table)
    with pytest.raises(InputError, match="undefined"):
        table["fei_delay"]
    with pytest.raises(InputError, match="did you mean 'rmse'"):
        table["rmze"]


def test_identical_histories_have_no_error() -> None:
    """A history compared with itself has zero errors, full scores and unit gain."""
    values = compare(X, X, 0.1, forces=(X**3, X**3)).as_dict()
    for name, value in values.items():
        if value is None:
            assert name == "work_error"  # an elastic loop returns its work
        elif name.endswith("_score"):
            assert value == pytest.approx(10.0)
        elif name in ("fei_amplitude", "correlation", "local_gain"):
            assert value == pytest.approx(1.0)
        elif name != "fei_frequency":
            assert value == pytest.approx(0.0, abs=1e-7), name


def test_different_steps_are_brought_together_on_purpose() -> None:
    """Two steps of one straight-line history agree once read at common times."""
    slow, fast = np.arange(0, 10.01, 0.1), np.arange(0, 10.001, 0.025)
    assert rmse(np.interp(fast, slow, np.sin(slow)), on_times(fast, slow, np.sin(slow))) == 0.0


ANY = st.one_of(
    st.floats(-1e3, 1e3), st.sampled_from([0.0, 1.0, 5e-324, 2e-308, 1e-101, -1e-99, 1e100, -1e99])
)


@settings(max_examples=80, deadline=None)
@given(
    arrays(np.float64, 12, elements=ANY),
    arrays(np.float64, 12, elements=ANY),
    arrays(np.float64, 12, elements=ANY),
)
def test_any_histories_give_a_table(x: np.ndarray, y: np.ndarray, F: np.ndarray) -> None:
    """Whatever finite histories come in, the table holds finite numbers or reasons, never NaN."""
    for row in compare(x, y, 0.1, forces=(F, x)):
        assert row.note if row.value is None else np.isfinite(row.value), row
