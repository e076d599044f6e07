"""The example that reduces a building from end to end, and the pictures of what it finds."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from frame2d.errors import InputError
from frame2d.reduction import Building, Fidelity, Limits
from frame2d.show.look import save_figure
from frame2d.show.reduction_plots import plot_cuts, plot_fidelity, plot_plan, plot_stick

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def found():
    """Short run of the example."""
    spec = importlib.util.spec_from_file_location("example_reduce", ROOT / "examples" / "reduce_building.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module.run(count=1, short=True)


def test_the_example_reduces_a_building_step_by_step(found):
    """Share one half, a feasible best cut with hinges in the columns, and a table for every step of the reduction."""
    assert found["plane"].share == pytest.approx(0.5, abs=1e-6)
    best = found["ranking"].best
    assert best.feasible and set(best.cut.tested) >= {"link 1", "pin 1", "splice 1"} and best.lost > 0.0
    assert found["twist"] > 1e-4
    tables = found["tables"]
    assert list(tables) == ["plane frame", "test model", "stick"]
    periods = {
        name: table.select(index="period error", quantity="mode 1")[0] for name, table in tables.items()
    }
    assert all(row.passed for row in periods.values())
    assert all(table.select(part="significant damage", index="nrmse") for table in tables.values())
    assert len(found["stick"].springs) == len(found["stick"].levels) >= 5


@pytest.mark.parametrize("name", ["plan", "cuts", "fidelity", "stick"])
def test_pictures_are_drawn(found, name, tmp_path):
    """Each picture is made of the example's results and written as a file."""
    figure = {
        "plan": lambda: plot_plan(found["building"], "floor 3"),
        "cuts": lambda: plot_cuts(found["ranking"], 3),
        "fidelity": lambda: plot_fidelity(found["tables"]["test model"]),
        "stick": lambda: plot_stick(found["stick"]),
    }[name]()
    assert save_figure(figure, tmp_path / f"{name}.png").stat().st_size > 10_000
    text = " ".join(entry.get_text() for axes in figure.axes for entry in [axes.title, *axes.texts])
    wanted = {"plan": "long 1: 50.0 %", "cuts": "kN·m", "fidelity": "bound", "stick": ""}
    assert wanted[name] in text
    if name == "stick":
        assert len(figure.axes) == len(found["stick"].springs)
    if name == "cuts":
        assert len(figure.axes) == 6


def test_the_plan_shows_where_mass_and_stiffness_are(found):
    """The caption carries the eccentricities of 5 % of the sides."""
    figure = plot_plan(found["building"])
    assert "ex = 0.74 m, ey = 0.6 m" in " ".join(figure.get_supxlabel().split())
    marks = [line.get_xydata()[0] for line in figure.axes[0].lines if line.get_marker() in ("o", "+")]
    assert np.allclose(marks, [[8.14, 6.6], [7.4, 6.0]])


def test_pictures_without_content_are_refused(found):
    """Empty tables and unknown floors raise errors that say what is allowed."""
    with pytest.raises(InputError, match="no value with a bound"):
        plot_fidelity(Fidelity("a", "b", Limits(), ()))
    with pytest.raises(InputError, match="floor"):
        plot_plan(found["building"], "attic")
    with pytest.raises(InputError, match="floors"):
        Building().compile()
