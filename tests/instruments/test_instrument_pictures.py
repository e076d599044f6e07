"""Pictures of instruments show every channel, the numbers that were reduced, and units on every axis."""

from dataclasses import replace

import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.instruments import divide_error, measured_loops, true_quantities
from frame2d.instruments.laws import laws_of
from frame2d.show import save_figure
from frame2d.show.instrument_plots import (
    plot_error_division,
    plot_measured_loops,
    plot_quantities,
    plot_sensor_map,
)


def labels(figure):
    found = [axes.get_xlabel() for axes in figure.axes] + [axes.get_ylabel() for axes in figure.axes]
    return [label for label in found if label]


def test_the_sensor_map_names_every_channel(sensors, tmp_path):
    """Each channel's name stands in the picture, beside what it measures."""
    figure = plot_sensor_map(sensors)
    words = " ".join(text.get_text() for text in figure.axes[0].texts)
    assert all(name in words for name in sensors.channels)
    assert save_figure(figure, tmp_path / "map.png").stat().st_size > 10_000
    assert "23 channels" in figure.get_supxlabel()
    axes, beside = plot_sensor_map(sensors, numbered=True).axes
    assert "17  D1 (mm, +1)" in beside.texts[0].get_text() and "17, 18" in [t.get_text() for t in axes.texts]


def test_quantities_stand_beside_the_truth(sensors, quantities, response, clock):
    """Value, band and truth are those of the quantity, in the unit on the axis."""
    truth = {name: (clock, value) for name, value in true_quantities(sensors, response).items()}
    names = ["left hinge moment", "left hinge rotation"]
    figure = plot_quantities(quantities, names, truth)
    axes = figure.axes[0]
    np.testing.assert_allclose(axes.lines[0].get_ydata(), quantities[names[0]].value / 1e3)
    np.testing.assert_allclose(axes.lines[1].get_ydata(), truth[names[0]][1] / 1e3)
    assert "noise × 1.26" in axes.get_title("left") and axes.get_ylabel() == "moment\n(kN·m)"
    assert figure.axes[2].get_ylabel() == "rotation\n(mrad)"
    assert "truth inside for" in figure.axes[1].get_title("left")
    assert all("(" in label for label in labels(figure))
    lost = replace(quantities[names[0]], valid=quantities[names[0]].time < 20.0)
    assert len(plot_quantities({"m": lost}).axes[0].patches) == 1
    with pytest.raises(InputError, match="no quantity"):
        plot_quantities(quantities, [])


def test_loops_stand_beside_their_laws(sensors, quantities):
    """Each measured loop is drawn with the law before and after, and says the error of both."""
    loops = measured_loops(sensors, quantities)
    laws = {name: place.part.law for name, place in laws_of(sensors.system).items()}
    wrong = {name: replace(law, Fy=0.8 * law.Fy) for name, law in laws.items()}
    figure = plot_measured_loops(loops, wrong, laws)
    assert len(figure.axes) == 4
    for axes, name in zip(figure.axes, loops, strict=True):
        before, after = axes.get_title("left").removeprefix(f"{name}: ").split(" → ")
        assert float(after.split()[0]) < 0.5 * float(before.split()[0])
    with pytest.raises(InputError, match="no loops"):
        plot_measured_loops({}, laws)


def test_bars_are_the_parts_of_the_error():
    """Widths of the bars are the parts in percent, to the left where they make up for others."""
    t = np.linspace(0.0, 10.0, 200)
    runs = [(str(k), t, a * np.sin(t)) for k, a in enumerate((1.0, 1.1, 1.05, 1.15, 1.3))]
    division = divide_error(runs, name="roof")
    axes = plot_error_division(division).axes[0]
    widths = [patch.get_width() for patch in axes.patches]
    assert widths == pytest.approx([100.0 * part.part for part in division.parts])
    assert widths[1] < 0.0
    assert axes.lines[0].get_xdata()[0] == pytest.approx(100.0 * division.total)
    with pytest.raises(InputError, match="no division"):
        plot_error_division({})
