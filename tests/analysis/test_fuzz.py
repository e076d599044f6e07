"""Whatever is put in, in a file or in a call, comes back as a result or as one of the library's own errors."""

import copy
import json
from collections.abc import Iterator
from dataclasses import replace
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
from frame2d.analysis import Response, StepByStep, central_difference, ensemble, kolay_ricles, stable_step
from frame2d.analysis.runner import Options
from frame2d.materials import Bilinear, BoucWen, Elastic, Pinched
from frame2d.model.schema import from_data, to_data
from frame2d.model.system import System


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


def small() -> Frame:
    """Another frame, whose states fit the rich one nowhere."""
    frame = Frame("small")
    frame.node("A", 0, 0, "fixed")
    frame.node("B", 0, 3, mass=1e4)
    frame.member("AB", "A", "B", BeamColumn(2e11, 6e-3, 8e-5))
    frame.load("B", fx=1e3)
    return frame


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
    "step by step": (
        lambda s, g, k: StepByStep(s, g, **k).step(),
        ("dt", "peak", "ground", "forces", "most", "loads", "scheme", "damping", "rows"),
        {"dt": 0.01},
    ),
    "one step": (lambda s, g, k: StepByStep(s, g, dt=0.01).step(**k), ("ground", "loads"), {}),
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

ANALYSES: dict[str, Any] = {
    "gravity": lambda s, g: gravity(s, g),
    "static": lambda s, g: static(s, g),
    "modes": lambda s, g: modes(s, g, 1),
    "buckling": lambda s, g: buckling(s, count=1),
    "push": lambda s, g: push(s, g, node="B", target=0.001, steps=1),
    "arc": lambda s, g: push(s, g, node="B", target=0.001, arc_length=0.001),
    "cyclic": lambda s, g: cyclic(s, g, node="B", history=np.array([0.0, 0.001])),
    "history": lambda s, g: time_history(s, state=g, dt=0.01, duration=0.02),
    "step by step": lambda s, g: StepByStep(s, g, dt=0.01).step(),
    "ensemble": lambda s, g: ensemble(s, [SimpleNamespace(acceleration=np.ones(3), dt=0.01, name="r")], g),
    "Rayleigh": lambda s, g: Rayleigh(0.03, (1, 2)).matrix(s, g),
    "stable step": lambda s, g: stable_step(s),
    "devices": lambda s, g: s.replace_devices(g, ["AC"]) if isinstance(s, System) else None,
}
FILES: dict[str, Any] = {
    "frame, save": lambda s, path: rich().save(path),
    "frame, load": lambda s, path: Frame.load_from(path),
    "response, save": lambda s, path: gravity(s[0]).save(path),
    "response, load": lambda s, path: Response.load(path),
    "response, table": lambda s, path: gravity(s[0]).to_csv(path),
}


@pytest.fixture(scope="module")
def others(standing, tmp_path_factory):
    """What may stand by mistake in place of a system, of a state and of a path."""
    system, state = standing
    other = small().compile()
    held = other.rest()
    response = gravity(other)
    folder = tmp_path_factory.mktemp("files")
    broken = folder / "broken.json"
    broken.write_text('{"schema": "frame2d/frame/1", "nodes": 3')
    binary = folder / "binary.h5"
    binary.write_bytes(bytes(range(256)))
    bent = replace(state, motion=state.motion._replace(q=np.zeros(3)))
    systems: list[Any] = [None, other, rich(), response, "rich", 5, {}, np.zeros(3)]
    states: list[Any] = [
        None,
        held,
        response,
        response.state,
        bent,
        system,
        "rest",
        5,
        {},
        np.zeros(3),
        (),
        state.motion,
    ]
    paths: list[Any] = [
        folder / "new.json", folder / "new.h5", str(folder / "new.csv"), folder, folder / "none" / "x.h5", broken, binary,
        broken / "below.json", "", 5, None, b"x", "a\0b", "x" * 300,
    ]  # fmt: skip
    return systems, states, paths


@settings(max_examples=120, deadline=None)
@given(name=st.sampled_from([*ANALYSES]), seed=st.integers(0, 10_000), which=st.integers(0, 2))
def test_an_odd_system_or_state_gives_an_answer_or_a_clear_error(standing, others, name, seed, which):
    """Another frame, its state, a response or anything else in their place: a result, or an error of the library."""
    systems, states, _ = others
    rng = np.random.default_rng(seed)
    system, state = standing
    if which != 1:
        system = systems[rng.integers(len(systems))]
    if which != 0:
        state = states[rng.integers(len(states))]
    try:
        ANALYSES[name](system, state)
    except Frame2dError as error:
        assert str(error)


@settings(max_examples=100, deadline=None)
@given(name=st.sampled_from([*FILES]), number=st.integers(0, 13))
def test_an_odd_path_gives_a_file_or_a_clear_error(standing, others, name, number):
    """Folders, missing folders, broken and binary files, no path at all: a file, or an error of the library."""
    path = others[2][number]
    try:
        FILES[name](standing, path)
    except Frame2dError as error:
        assert str(error)


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
