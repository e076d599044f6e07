"""Random frames end in one of three stated ways, and wrong input never ends in a bare traceback."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks.robust import one
from frame2d import BeamColumn, Brace, Frame, Frame2dError, Link, gravity, push, time_history
from frame2d.materials import Bilinear, Elastic


@pytest.mark.parametrize("seed", range(6))
def test_a_random_frame_ends_in_a_stated_way(seed):
    """A random frame completes, collapses by drift, or raises the one error (short form of the benchmark)."""
    run = one(seed)
    assert (
        run.outcome in ("COMPLETED", "COLLAPSED", "NOT_CONVERGED") and run.drift > 0.0 and run.ductility > 0.0
    )


@pytest.mark.parametrize("seed", [3, 8, 21])
def test_sharp_devices_are_passed(seed):
    """Frames of perfect hinges, closing gaps, steep softening and switching rate laws complete or collapse."""
    assert one(seed, sharp=True).outcome in ("COMPLETED", "COLLAPSED")


anything = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True),
    st.sampled_from([0.0, -1.0, 1e-300, 1e300, 210.0, 2.1e11, None, "x"]),
)
name = st.sampled_from(["A", "B", "C", "D", "", "a"])


@settings(max_examples=60, deadline=None)
@given(values=st.lists(anything, min_size=12, max_size=12), names=st.lists(name, min_size=6, max_size=6))
def test_any_input_gives_an_answer_or_a_clear_error(values, names):
    """Whatever is put in, the user sees a result or an error of the library, never one of numpy, numba or LAPACK."""
    try:
        frame = Frame("any")
        frame.node("A", 0.0, 0.0, support="fixed")
        frame.node("B", values[0], values[1], support=("uy",))
        frame.node("C", 1.0, 2.0)
        frame.member("m1", "A", "B", BeamColumn(values[2], values[3], values[4], geometry="corotational"))
        frame.member("m2", names[0], names[1], Brace(Bilinear(k=values[5], Fy=values[6], b=0.01)))
        frame.member(
            "m3",
            names[2],
            names[3],
            Link(axial=Elastic(values[7]), transverse=Elastic(1e6), rotation=Elastic(1e6)),
        )
        frame.mass(names[4], values[8])
        frame.load("B", fx=values[9])
        frame.floor("f", ["B"])
        system = frame.compile()
        state = gravity(system).state
        push(system, state, "gravity", node="B", target=values[10], steps=3)
        time_history(system, dt=values[11], duration=0.05, state=state)
    except Frame2dError:
        pass


def test_overlong_tables_are_refused_before_memory_is_taken():
    """A duration that needs more steps than memory holds is an input error."""
    frame = Frame("long")
    frame.node("A", 0, 0, support="fixed")
    frame.node("B", 1, 0, support=("uy", "rz"), mass=1.0)
    frame.member("s", "A", "B", Link(axial=Elastic(1.0)))
    with pytest.raises(Frame2dError, match="steps"):
        time_history(frame.compile(), dt=1e-12, duration=1e6)
    assert np.isfinite(1.0)
