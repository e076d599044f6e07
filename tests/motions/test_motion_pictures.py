"""Pictures of motions hold every curve they promise and say what is synthetic; the selection example runs."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.motions import (
    ElasticSpectrum,
    Record,
    adjust,
    candidates,
    choose_record,
    ductility_spectra,
    select_suite,
)
from frame2d.show.motion_plots import (
    plot_adjustment,
    plot_choice,
    plot_ductility,
    plot_motion,
    plot_records,
    plot_spectra,
    plot_suite,
)

TARGET = ElasticSpectrum(2.0, "B")


@pytest.fixture(scope="module")
def records():
    """Five invented records of noise."""
    hull = np.sin(np.pi * np.arange(500) / 500)
    return [
        Record(3 * np.random.default_rng(i).normal(size=500) * hull, 0.02, f"noise {i}", i != 1)
        for i in range(5)
    ]


def words(figure):  # type: ignore[no-untyped-def]
    """Every word of a figure."""
    return " ".join(text.get_text() for text in figure.findobj(lambda item: hasattr(item, "get_text")))


def test_histories_are_drawn_whole(records):
    """Acceleration, velocity and displacement have every sample, with units and the label of a synthetic record."""
    figure = plot_motion(records[0])
    assert [len(axes.lines[0].get_xdata()) for axes in figure.axes] == [500] * 3
    assert "noise 0 (synthetic)" in words(figure) and "displacement (m)" in words(figure)
    many = plot_records(records)
    assert len(many.axes) == 5 and "noise 1" in words(many)
    with pytest.raises(InputError, match="up to 12"):
        plot_records(records * 3)


def test_spectra_show_each_record_mean_and_target(records):
    """Five records, mean, target, 90 % line and T1; the mean drawn is the mean, and the caption counts the synthetic."""
    figure = plot_spectra(records, TARGET, 0.7)
    lines = {line.get_label(): line for line in figure.axes[0].lines}
    assert len(figure.axes[0].lines) == 5 + 3 + 1
    each = np.array([line.get_ydata() for line in figure.axes[0].lines[1:6]])
    assert np.allclose(lines["mean of 5"].get_ydata(), each.mean(axis=0))
    assert np.allclose(lines["90% of the target"].get_ydata(), 0.9 * lines["target"].get_ydata())
    assert "4 of 5 synthetic" in words(figure)


def test_a_suite_says_whether_it_passes(records):
    """The title carries the verdict of the suite rules."""
    pool = candidates(records, TARGET, 0.5, bounds=(0.01, 100.0))
    suite = select_suite(pool, 3, kind="artificial").best
    assert "passes the suite rules" in words(plot_suite(suite, TARGET, 0.5))
    choice = choose_record(pool, limit_state="some state")
    assert "some state" in words(plot_choice(choice)) and len(plot_choice(choice).axes[0].patches) == 5


def test_an_adjustment_is_shown_before_and_after(records):
    """Ratios and histories appear twice, before and after."""
    fit = adjust(records[0], TARGET, np.geomspace(0.1, 1.0, 8), iterations=3)
    figure = plot_adjustment(fit, records[0])
    assert np.array_equal(figure.axes[0].lines[2].get_ydata(), fit.ratio_after)
    assert [len(axes.lines) for axes in figure.axes[1:]] == [2, 2]


def test_ductility_has_a_curve_each(records):
    """Each ductility has its curve and the line of equal displacement."""
    found = ductility_spectra(records[0], [0.2, 0.5, 1.0], [2.0, 4.0])
    figure = plot_ductility(found.periods, found.ductility, found.reduction, "noise")
    assert len(figure.axes[0].lines) == 4 and "μ = 4" in words(figure)


def test_the_selection_example_chooses_a_suite_and_a_record_per_limit_state():
    """The example's small form selects three of eight synthetic records that pass, and one for each limit state."""
    path = Path(__file__).resolve().parents[2] / "examples" / "select_motions.py"
    spec = importlib.util.spec_from_file_location("example_select_motions", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    found = module.run(count=8, size=3, short=True)
    assert all(record.synthetic for record in found["records"])
    rules = {check.clause: check.passed for check in found["selection"].best.report.checks}
    assert rules["3.2.3.1.2(4)b"] and rules["3.2.3.1.2(4)c"] and not rules["3.2.3.1.2(3)"]
    assert len(found["choices"]) == 3 and all(choice.best.synthetic for choice in found["choices"].values())
