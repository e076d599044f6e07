"""Whatever is put in, in a file or in a call, comes back as a result or as one of the library's own errors."""

import copy
import json
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d import (
    BeamColumn,
    Brace,
    Caughey,
    Frame,
    Frame2dError,
    Link,
    Modal,
    Rayleigh,
    buckling,
    chung_hulbert,
    cyclic,
    gravity,
    modes,
    push,
    static,
    time_history,
)
from frame2d.analysis import central_difference, kolay_ricles
from frame2d.analysis.runner import Options
from frame2d.materials import Bilinear, BoucWen, Elastic, Pinched
from frame2d.model.schema import from_data, to_data


def rich() -> Frame:
    """A frame with something of every kind."""
    frame = Frame("rich")
    for name, x, y, support in (
        ("A", 0, 0, "fixed"),
        ("B", 0, 4, None),
        ("C", 6, 4, None),
        ("D", 6, 0, "pinned"),
    ):
        frame.node(name, x, y, support)
    frame.node("E", 6.2, 4.1)
    frame.member("AB", "A", "B", BeamColumn(2e11, 6e-3, 8e-5, geometry="p-delta", mass_per_length=30.0))
    hinge = Bilinear(1e7, 1e5, 0.02)
    frame.member("BC", "B", "C", BeamColumn(2e11, 8e-3, 1.6e-4, start=hinge, start_inset=0.4, end="pinned"))
    frame.member("DC", "D", "C", BeamColumn(2e11, 6e-3, 8e-5, geometry="corotational"))
    frame.member("AC", "A", "C", Brace(BoucWen(k=1e7, Fy=1e5, a=0.02)), device=True)
    frame.link("s", "B", "C", Link(axial=Elastic(1e3), rotation=Pinched.example()))
    frame.rigid("C", ["E"])
    frame.mass("B", 2e4)
    frame.mass("C", 2e4)
    frame.load("B", fy=-1e5)
    frame.member_load("BC", qy=-1e3, begin=0.5, end=5.0)
    frame.floor("roof", ["B", "C"])
    return frame


FILE = json.loads(json.dumps(to_data(rich())))


def places(data: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in nested data."""
    entries = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in entries:
        yield (*path, key)
        yield from places(value, (*path, key))


PLACES = list(places(FILE))
WEIRD: list[Any] = [
    None, "", [], {}, -1, 0, 1e300, -1e300, float("nan"), float("inf"), "x", "A", "ux", True, [1], {"law": "Elastic"},
    1e-300, 210.0, 5,
]  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(place=st.sampled_from(PLACES), value=st.sampled_from(WEIRD), lost=st.booleans())
def test_a_damaged_file_is_read_or_refused(place, value, lost):
    """One entry of a frame file lost or replaced: the frame runs, or an error of the library says what is wrong."""
    data: Any = copy.deepcopy(FILE)
    here = data
    for key in place[:-1]:
        here = here[key]
    if lost:
        del here[place[-1]]
    else:
        here[place[-1]] = value
    try:
        frame = from_data(data)
        system = frame.compile()
        frame.summary()
        state = gravity(system).state
        modes(system, state, 2)
        push(system, state, "uniform", node="B", target=0.01, steps=2)
        time_history(system, dt=0.01, duration=0.05, state=state)
    except Frame2dError as error:
        assert str(error)


@pytest.fixture(scope="module")
def standing():
    system = rich().compile()
    return system, gravity(system).state


ODD: list[Any] = [
    None, "", [], 0, -1, 1e300, float("nan"), float("inf"), "x", "B", "ux", True, [1], 0.01, 5, ("B", "ux"),
    {("B", "ux"): np.zeros(9)}, {("A", "ux"): np.linspace(0, 0.01, 9)}, {"roof": 1.0}, {"x": 1}, "gravity",
    np.zeros(4), np.array(["a", "b"]), SimpleNamespace(acceleration=np.zeros(9), dt=0.01, name="r"),
    SimpleNamespace(acceleration="x", dt=0.01), SimpleNamespace(acceleration=np.ones((3, 3)), dt=0.01),
    SimpleNamespace(acceleration=[0.0, 1.0], dt="a"), SimpleNamespace(dt=1), Rayleigh(0.03, (1, 2)), Modal(),
    chung_hulbert(), central_difference(), kolay_ricles(), "uniform",
]  # fmt: skip

CALLS: dict[str, tuple[Any, tuple[str, ...], dict[str, Any]]] = {
    "gravity": (lambda s, g, k: gravity(s, **k), ("case", "steps"), {}),
    "static": (lambda s, g, k: static(s, g, **k), ("cases", "steps", "settlements"), {}),
    "modes": (lambda s, g, k: modes(s, **k), ("count",), {}),
    "buckling": (lambda s, g, k: buckling(s, **k), ("case", "count"), {}),
    "push": (
        lambda s, g, k: push(s, g, **k),
        ("pattern", "node", "component", "target", "steps", "arc_length", "most_steps"),
        {"node": "B", "target": 0.01, "steps": 3},
    ),
    "cyclic": (
        lambda s, g, k: cyclic(s, g, **k),
        ("pattern", "node", "component", "history"),
        {"node": "B", "history": np.linspace(0, 0.01, 4)},
    ),
    "history": (
        lambda s, g, k: time_history(s, state=g, **k),
        (
            "record", "factor", "dt", "duration", "forces", "support_motion", "scheme", "damping", "drift_limit",
            "initial_velocity", "initial_displacement",
        ),
        {"dt": 0.01, "duration": 0.05},
    ),
    "options": (
        lambda s, g, k: time_history(s, dt=0.01, duration=0.05, state=g, options=Options(**k)),
        ("tolerance", "most_iterations", "deepest_halving"),
        {},
    ),
    "devices": (lambda s, g, k: s.replace_devices(g, **k), ("names",), {"names": ["AC"]}),
    "Rayleigh": (lambda s, g, k: Rayleigh(**k).matrix(s), ("ratio", "modes"), {"modes": (1, 2)}),
    "Modal": (lambda s, g, k: Modal(**k).matrix(s), ("ratios",), {}),
    "Caughey": (lambda s, g, k: Caughey(**k).matrix(s), ("ratios", "modes"), {}),
    "support": (lambda s, g, k: rich().support(**k), ("node", "kind"), {"node": "B", "kind": "fixed"}),
    "tie": (lambda s, g, k: rich().tie(**k), ("component", "nodes"), {"component": "ux", "nodes": ["A", "B"]}),
    "rigid": (lambda s, g, k: rich().rigid(**k), ("lead", "nodes", "components"), {"lead": "B", "nodes": ["C"]}),
    "floor": (lambda s, g, k: rich().floor(**k), ("name", "nodes", "tied"), {"name": "q", "nodes": ["C"]}),
    "node": (lambda s, g, k: rich().node(**k), ("name", "x", "y", "support", "mass"), {"name": "q", "x": 1, "y": 1}),
    "load": (lambda s, g, k: rich().load(**k), ("node", "fx", "fy", "mz", "case"), {"node": "B"}),
    "member load": (
        lambda s, g, k: rich().member_load(**k),
        ("member", "qx", "qy", "begin", "end", "axes", "case"),
        {"member": "BC", "qy": -1.0},
    ),
    "beam": (
        lambda s, g, k: BeamColumn(**k),
        ("E", "A", "I", "shear_area", "nu", "start", "end", "start_inset", "start_offset", "rotary", "geometry"),
        {"E": 2e11, "A": 1e-2, "I": 1e-4},
    ),
}  # fmt: skip


@settings(max_examples=120, deadline=None)
@given(name=st.sampled_from(list(CALLS)), seed=st.integers(0, 10_000), twice=st.booleans())
def test_an_odd_argument_gives_an_answer_or_a_clear_error(standing, name, seed, twice):
    """Any of many odd values for any argument of any analysis or description: a result, or an error of the library."""
    call, names, usual = CALLS[name]
    rng = np.random.default_rng(seed)
    chosen = dict(usual)
    for _ in range(1 + twice):
        chosen[names[rng.integers(len(names))]] = ODD[rng.integers(len(ODD))]
    try:
        call(*standing, chosen)
    except Frame2dError as error:
        assert str(error)
