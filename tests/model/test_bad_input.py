"""Each kind of mistake has a message of its own, before anything runs: thing, value, what is allowed, likely mistake."""

from types import SimpleNamespace

import numpy as np
import pytest

from frame2d import BeamColumn, Brace, Frame, InputError, Link, gravity, modes, push, static, time_history
from frame2d.elements import ShearLink
from frame2d.materials import Bilinear, Elastic

E = 210e9


def cantilever(stiffness: float = 1e6, mass: float = 1e4):  # type: ignore[no-untyped-def]
    """One mass on a spring, on a column."""
    frame = Frame("cantilever")
    frame.node("foot", 0, 0, support="fixed")
    frame.node("head", 0, 3, mass=mass)
    frame.member("column", "foot", "head", BeamColumn(E, 1e-2, 1e-4))
    frame.node("end", 0, 3, support=("uy", "rz"), mass=mass)
    frame.member("spring", "head", "end", Link(axial=Elastic(stiffness)))
    frame.load("head", fy=-1e5)
    return frame


def record(*values: float, dt: float = 0.01):  # type: ignore[no-untyped-def]
    """Samples as a record."""
    return SimpleNamespace(acceleration=np.array(values), dt=dt, name="given")


MISTAKES = {
    "unknown node": (lambda: cantilever().load("haed"), r"node is 'haed'.*did you mean 'head'"),
    "a name twice": (lambda: cantilever().node("foot", 1, 1), r"'foot' stands already"),
    "zero length": (
        lambda: cantilever().member("x", "head", "end", Brace(Elastic(1e6))),
        r"member 'x' from 'head' to 'end': a Brace has length 0.*both nodes at one point",
    ),
    "a shear link of no length": (
        lambda: cantilever().member("x", "head", "end", ShearLink(E, 1e-2, 1e-4, Elastic(1e7))),
        r"ShearLink has length 0",
    ),
    "negative section": (lambda: BeamColumn(E, -1e-2, 1e-4), r"BeamColumn.A is -0.01; allowed: a number above 0"),
    "no inertia": (lambda: BeamColumn(E, 1e-2, 0.0), r"BeamColumn.I is 0.0; allowed: a number above 0"),
    "a modulus of 210": (
        lambda: BeamColumn(210, 1e-2, 1e-4),
        r"BeamColumn.E is 210 Pa.*Likely mistake: a modulus in GPa or MPa",
    ),
    "a section in mm": (lambda: BeamColumn(E, 5380, 8.356e7), r"Likely mistake: values in mm² and mm⁴"),
    "coordinates in mm": (lambda: Frame().node("A", 0, 3.6e6), r"coordinates in mm"),
    "a period of 40 s": (
        lambda: time_history(cantilever(250.0, 1e4).compile(), record(0.0, 1.0)),
        r"first period of about (39|40).* s; allowed: up to 30 s.*kN/m",
    ),
    "modes of 40 s": (lambda: modes(cantilever(250.0, 1e4).compile()), r"first period of about"),
    "a negative mass": (lambda: cantilever().mass("head", -1.0), r"masses are in kg"),
    "no mass at all": (
        lambda: time_history(cantilever(mass=0.0).compile(), record(0.0, 1.0)),
        r"'cantilever' has no mass.*masses were not added",
    ),
    "a massless freedom set in motion": (
        lambda: time_history(cantilever().compile(), dt=0.01, duration=1.0, initial_velocity={("head", "rz"): 1.0}),
        r"rz of node 'head' has no mass",
    ),
    "NaN in a record": (
        lambda: time_history(cantilever().compile(), record(0.0, 1.0, float("nan"), 0.0)),
        r"record 'given' is not a number at sample 2.*gap in the file",
    ),
    "a step over the record's": (
        lambda: time_history(cantilever().compile(), record(0.0, 1.0), dt=0.02),
        r"dt is 0.02 s; allowed: at most the step of record 'given', 0.01 s. Likely mistake: ms",
    ),
    "bare samples for a record": (
        lambda: time_history(cantilever().compile(), np.zeros(9)),
        r"anything with acceleration.*bare samples",
    ),
    "a drift limit in percent is fine, of zero not": (
        lambda: time_history(cantilever().compile(), record(0.0, 1.0), drift_limit=0.0),
        r"drift_limit is 0.0; allowed: a number above 0. Likely mistake: a ratio",
    ),
    "a load case that is not there": (lambda: gravity(cantilever().compile(), case="dead"), r"load case is 'dead'"),
    "a law that is a number": (lambda: Link(axial=1e6), r"Likely mistake: a stiffness, use Elastic\(k\)"),
    "no stiffness at the start": (lambda: Bilinear(k=0.0, Fy=1e5, b=0.02), r"Bilinear.k is 0.0"),
    "a push of a support": (
        lambda: push(cantilever().compile(), pattern="uniform", node="foot", target=0.1),
        r"held by a support",
    ),
    "half a step": (lambda: static(cantilever().compile(), steps=1.5), r"steps is 1.5; allowed: a whole number"),
}  # fmt: skip


@pytest.mark.parametrize("mistake", MISTAKES)
def test_each_mistake_has_its_message(mistake):
    """The message names the thing and its value, what is allowed, and what was probably meant."""
    act, words = MISTAKES[mistake]
    with pytest.raises(InputError, match=words):
        act()


def test_a_slow_frame_within_reason_runs():
    """A period of 20 s is no mistake."""
    found = modes(cantilever(1e3, 1e4).compile(), count=1)
    assert 15.0 < found.period[0] < 25.0


def test_a_file_that_is_none_is_named(tmp_path):
    """Missing, empty and foreign files are told apart."""
    path = tmp_path / "frame.json"
    for text, words in ((None, "cannot be read"), ("", "is not JSON"), ("[1]", "schema is 'list'")):
        if text is not None:
            path.write_text(text)
        with pytest.raises(InputError, match=words):
            Frame.load_from(path)
