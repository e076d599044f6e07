"""What no analysis takes: frames that were not compiled, states of others, files that are none, units that smell."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from frame2d import BeamColumn, Frame, InputError, Response, buckling, gravity, modes, push, time_history
from frame2d.analysis import cyclic, static
from frame2d.model.schema import from_data, to_data

E = 210e9


def cantilever(storeys: int = 1) -> Frame:
    """A column with a mass at every level."""
    frame = Frame("column")
    frame.node("0", 0.0, 0.0, "fixed")
    for level in range(1, storeys + 1):
        frame.node(str(level), 0.0, 3.0 * level, mass=1e4)
        frame.member(f"c{level}", str(level - 1), str(level), BeamColumn(E, 1e-2, 1e-4))
        frame.load(str(level), fy=-1e5)
    return frame


ANALYSES: dict[str, Any] = {
    "gravity": gravity,
    "static": static,
    "modes": modes,
    "push": lambda system, state=None: push(system, state, node="1", target=0.1),
    "cyclic": lambda system, state=None: cyclic(system, state, node="1", history=np.array([0.0, 0.01])),
    "time history": lambda system, state=None: time_history(system, None, state, dt=0.01, duration=0.1),
}
EVERY_ANALYSIS = pytest.mark.parametrize("name", ANALYSES)


@EVERY_ANALYSIS
def test_a_frame_that_was_not_compiled_is_named(name: str) -> None:
    """The likely mistake is said."""
    with pytest.raises(InputError, match=r"system is a Frame; .*frame\.compile\(\) was left out"):
        ANALYSES[name](cantilever())


@EVERY_ANALYSIS
def test_a_state_of_another_frame_is_refused(name: str) -> None:
    """Never broadcast into wrong numbers."""
    other = gravity(cantilever(2).compile())
    with pytest.raises(InputError, match="state has 6 free displacements; allowed: 3, as frame 'column'"):
        ANALYSES[name](cantilever().compile(), other.state)
    with pytest.raises(InputError, match=r"state is a Response; .*its \.state was meant"):
        ANALYSES[name](cantilever().compile(), other)


def test_buckling_wants_a_system_too() -> None:
    """It has no state."""
    with pytest.raises(InputError, match="was left out"):
        buckling(cantilever())  # type: ignore[arg-type]


def test_files_that_are_no_responses_are_named(tmp_path: Path) -> None:
    """A missing file, a text file and a missing folder are errors of input; what is saved is read again."""
    response = gravity(cantilever().compile())
    with pytest.raises(InputError, match="there is none"):
        Response.load(tmp_path / "none.h5")
    (tmp_path / "text.h5").write_text("hello")
    with pytest.raises(InputError, match="no HDF5 file"):
        Response.load(tmp_path / "text.h5")
    for write in (response.save, response.to_csv, response.system.frame.save):
        with pytest.raises(InputError, match="there is no folder"):
            write(tmp_path / "nowhere" / "file.h5")
    response.save(tmp_path / "response.h5")
    assert np.array_equal(Response.load(tmp_path / "response.h5").log.q, response.log.q)


def test_only_pushes_have_a_load_factor_and_supports_cannot_be_led() -> None:
    """Both are said by name."""
    system = cantilever().compile()
    with pytest.raises(InputError, match="has no load factor"):
        _ = gravity(system).factor
    with pytest.raises(InputError, match="held by a support"):
        cyclic(system, node="0", history=np.array([0.0, 0.01]))


def test_a_force_on_a_support_is_refused() -> None:
    """It would move nothing, and appear nowhere."""
    with pytest.raises(InputError, match="support_motion was meant"):
        time_history(cantilever().compile(), dt=0.01, forces={("0", "ux"): np.ones(20)})


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda data: data.update(member_laods=[]), "did you mean 'member_loads'"),
        (lambda data: data["nodes"][0].update(z=3.0), "entry of node '0' is 'z'"),
        (lambda data: data["members"][0].update(divice=True), "did you mean 'device'"),
    ],
)
def test_a_frame_file_has_no_entries_that_nobody_reads(change: Any, message: str) -> None:
    """A misspelt entry would otherwise be left out without a word."""
    data = to_data(cantilever())
    change(data)
    with pytest.raises(InputError, match=message):
        from_data(data)


def pulse(size: float, dt: float = 0.01) -> SimpleNamespace:
    """A record of one kick."""
    return SimpleNamespace(acceleration=np.array([0.0, size, 0.0, 0.0]), dt=dt, name="kick")


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: BeamColumn(E, 53.8, 8356.0), "radius of gyration of 12.5 m; .*cm², cm⁴"),
        (lambda: static(cantilever().compile(), settlements={("0", "uy"): -25.0}), "mm instead of m"),
        (lambda: push(cantilever().compile(), node="1", target=-200.0), "mm instead of m"),
        (lambda: cyclic(cantilever().compile(), node="1", history=np.array([0.0, 50.0])), "mm instead of m"),
        (lambda: time_history(cantilever().compile(), pulse(981.0)), r"reaches 981 m/s².*cm/s²"),
        (lambda: time_history(cantilever().compile(), pulse(1.0, 5.0)), "ms instead of s"),
    ],
)
def test_units_that_smell_of_millimetres_and_gal(call: Any, message: str) -> None:
    """Sections in cm, settlements and pushes in mm, records in gal, steps in ms."""
    with pytest.raises(InputError, match=message):
        call()
