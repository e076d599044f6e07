"""Figures show the numbers of the response, label every axis with its unit, and reach the disk whole."""

import subprocess
import sys

import numpy as np
import pytest

from frame2d import show
from frame2d.analysis import gravity, static
from frame2d.elements import BeamColumn
from frame2d.errors import InputError
from frame2d.model import Frame
from frame2d.show import (
    plot_diagram,
    plot_drifts,
    plot_energy,
    plot_frame,
    plot_history,
    plot_loops,
    plot_modes,
    plot_push,
    save_figure,
)
from frame2d.show.diagrams import diagram
from frame2d.show.plots import energy_parts


def texts(figure):
    return [text.get_text() for axes in figure.axes for text in axes.texts]


def labels(figure):
    found = [axes.get_xlabel() for axes in figure.axes] + [axes.get_ylabel() for axes in figure.axes]
    return [label for label in found if label]


@pytest.fixture
def figures(frame, quake, pushed, shapes):
    return {
        "frame": plot_frame(frame),
        "modes": plot_modes(shapes),
        "push": plot_push(pushed),
        "drifts": plot_drifts({"weak": quake, "strong": quake}),
        "loops": plot_loops(quake),
        "energy": plot_energy(quake),
        "diagram": plot_diagram(pushed),
        "history": plot_history(quake),
    }


def test_every_figure_reaches_the_disk_with_units_and_a_caption(figures, tmp_path):
    """Each figure is written whole, nothing is left beside it, every label has a unit and there is a caption."""
    for name, figure in figures.items():
        path = save_figure(figure, tmp_path / f"{name}.png")
        assert path.read_bytes().startswith(b"\x89PNG")
        assert labels(figure)
        assert all("(" in label for label in labels(figure)), name
        assert len(figure.get_supxlabel()) > 20
    assert {path.stem for path in tmp_path.iterdir()} == set(figures)


def test_unknown_suffix_is_refused(figures, tmp_path):
    """A suffix that is no picture names those that are."""
    with pytest.raises(InputError, match=r"allowed suffixes: \.png, \.pdf, \.svg"):
        save_figure(figures["push"], tmp_path / "push.doc")
    assert not list(tmp_path.iterdir())


def test_frame_is_shown_with_its_names(frame, figures):
    """All nodes, members and floors are named in the picture, and can be left out."""
    assert set(frame.nodes) | set(frame.members) | set(frame.floors) <= set(texts(figures["frame"]))
    assert not set(frame.nodes) & set(texts(plot_frame(frame, labels=False)))


def test_push_curve_is_the_base_shear(pushed, figures):
    """The curve is base shear in kN against the displacement of the highest floor."""
    curve = figures["push"].axes[0].lines[0]
    np.testing.assert_allclose(curve.get_xdata(), pushed.floor("F2"))
    np.testing.assert_allclose(curve.get_ydata(), pushed.base_shear() / 1e3)


def test_push_needs_a_push(quake):
    """A time history is no push, and the message says so."""
    with pytest.raises(InputError, match="allowed: that of push or cyclic"):
        plot_push(quake)


def test_drift_profile_is_the_largest_drift(quake, figures):
    """The stairs are the largest and the last drift ratio in percent, storey by storey."""
    left, right = figures["drifts"].axes
    drifts = list(quake.drifts().values())
    for axes, expected in ((left, [abs(d).max() for d in drifts]), (right, [abs(d[-1]) for d in drifts])):
        np.testing.assert_allclose(axes.patches[0].get_data().values, 100.0 * np.array(expected))
        np.testing.assert_allclose(axes.patches[0].get_data().edges, [0.0, 3.5, 7.0])


def test_loops_of_named_devices(quake):
    """Named loops appear in the order asked for; an unknown name gets the closest one."""
    figure = plot_loops(quake, ["d1", "b1: end hinge"])
    assert [axes.get_title("left").split(",")[0] for axes in figure.axes] == ["d1", "b1: end hinge"]
    assert [axes.get_ylabel() for axes in figure.axes] == ["force (kN)", "moment (kN·m)"]
    with pytest.raises(InputError, match="did you mean 'b1: end hinge'"):
        plot_loops(quake, ["b1: end hing"])


def test_energy_stack_sums_to_the_input(quake):
    """The stacked parts add up to the input less the imbalance that is printed."""
    energies = quake.energies()
    total = np.sum(list(energy_parts(quake).values()), axis=0)
    np.testing.assert_allclose(
        total, energies["input"] - energies["imbalance"], atol=1e-9 * energies["input"].max()
    )
    assert f"{quake.imbalance():.2e}" in plot_energy(quake).get_supxlabel()


def test_empty_requests_are_refused(quake):
    """No responses, or no floors, is said in words."""
    with pytest.raises(InputError, match="responses is empty"):
        plot_drifts([])


def test_empty_frame_is_still_a_picture():
    """A frame under construction can be looked at before it has members."""
    frame = Frame("begun")
    frame.node("a", 0.0, 0.0, "pinned")
    assert "a" in texts(plot_frame(frame))
    with pytest.raises(InputError, match="has no nodes"):
        plot_frame(Frame("nothing yet"))


def test_import_stays_light():
    """Importing the room brings in no drawing library, and drawing leaves matplotlib's global state alone."""
    code = (
        "import sys, frame2d.show as show, frame2d.model as m; heavy = {'matplotlib', 'pyvista', 'meshio', 'imageio'};"
        "assert not heavy & set(sys.modules), heavy & set(sys.modules);"
        "f = m.Frame(); f.node('a', 0, 0, 'fixed'); show.plot_frame(f);"
        "assert 'matplotlib.pyplot' not in sys.modules"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_diagrams_follow_the_loads_along_members():
    """A clamped beam under a uniform load has w·L²/12 at its ends and half of it, of the other sign, at mid-span."""
    frame = Frame("beam")
    frame.node("A", 0.0, 0.0, "fixed")
    frame.node("B", 6.0, 0.0, "fixed")
    frame.node("C", 3.0, 0.0)
    for a, b in ("AC", "CB"):
        frame.member(a + b, a, b, BeamColumn(2e11, 1e-2, 1e-4))
        frame.member_load(a + b, qy=-20e3)
    response = gravity(frame.compile())
    lines = diagram(response, "M")
    assert lines["AC"].values[0] == pytest.approx(-20e3 * 36.0 / 12.0)
    assert lines["AC"].values[-1] == pytest.approx(20e3 * 36.0 / 24.0)
    assert lines["CB"].values[-1] == pytest.approx(-20e3 * 36.0 / 12.0)
    assert diagram(response, "V")["AC"].values[0] == pytest.approx(60e3)
    figure = plot_diagram(response, "M")
    assert {"-60", "30"} <= set(texts(figure)) and "Largest 60 kN·m" in figure.get_supxlabel()
    with pytest.raises(InputError, match="quantity"):
        plot_diagram(response, "moment")


def test_diagrams_know_braces_and_every_geometry(pushed):
    """Axial forces of braces are their law's, moments of hinged beams their laws' at the hinges, at every step."""
    lines = diagram(pushed, "N", 10)
    assert lines["d1"].values[0] == pytest.approx(pushed.device("d1").force[10])
    moment = pushed.device("b1: start hinge").force[10]
    assert abs(diagram(pushed, "M", 10)["b1"].values[0]) == pytest.approx(abs(moment), rel=1e-6)
    assert "d1" not in diagram(pushed, "M")


def test_a_chain_is_one_energy_stack(begin, quake):
    """Replaced devices take energy with them: a layer of the stack of the whole chain."""
    fresh = begin.system.replace_devices(quake.state, ["b1", "b2"])
    settled = static(begin.system, fresh, cases={}, steps=5)
    parts = energy_parts([quake, settled])
    assert parts["left with removed devices"][-1] == pytest.approx(fresh.released)
    assert "left with removed devices" in [
        text.get_text() for text in plot_energy([quake, settled]).legends[0].get_texts()
    ]


def test_every_picture_of_the_studies_is_found_here():
    """What the table of the room names can be imported from it, and an unknown name is an ordinary error."""
    for names in show.STUDIES.values():
        assert all(callable(getattr(show, name)) and f"`{name}`" in show.__doc__ for name in names)
    with pytest.raises(AttributeError, match="plot_nothing"):
        _ = show.plot_nothing
