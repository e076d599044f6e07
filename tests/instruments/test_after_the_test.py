"""After a test: specimens led by what was measured, laws fitted again, and the error divided without a remainder."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from examples.strain_gauges import LINK, PIN, loading, portal
from frame2d.compare import nrmse
from frame2d.errors import InputError
from frame2d.instruments import (
    after_test,
    divide_error,
    follow,
    measured_loops,
    refit_devices,
    with_laws,
)
from frame2d.materials import Bilinear, BoucWen

T = np.linspace(0.0, 10.0, 501)
WAVE = np.sin(2.0 * T)


def chain(*signals):
    return [(f"run {k}", T, signal) for k, signal in enumerate(signals)]


def test_parts_add_up_to_the_error_of_the_prediction():
    """Rig, integration, reduction and law add up to the NRMSE of the prediction against the test."""
    runs = (WAVE, 0.98 * WAVE, 0.97 * WAVE, 1.05 * WAVE, 1.2 * WAVE)
    division = divide_error(chain(*runs), name="roof")
    assert [part.name for part in division.parts] == ["rig", "integration", "reduction", "law"]
    assert sum(part.part for part in division.parts) == pytest.approx(division.total, abs=1e-15)
    assert division.total == pytest.approx(float(nrmse(WAVE, runs[-1], "range")))
    # Differences of known multiples of one wave, of rms r and range D: e_k = |m_k − 1| r/D.
    unit = np.sqrt(np.mean(WAVE**2)) / np.ptp(WAVE)
    assert [part.part / unit for part in division.parts] == pytest.approx([0.02, 0.01, 0.02, 0.15])
    assert [part.distance / unit for part in division.parts] == pytest.approx([0.02, 0.01, 0.08, 0.15])
    assert [part.share for part in division.parts] == pytest.approx([-0.1, -0.05, 0.4, 0.75])
    assert division["reduction"].part > 0.0 and "D = range of the test" in str(division)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(0, 2**31), min_size=5, max_size=5))
def test_division_of_any_chain(seeds):
    """Whatever the runs are, parts add up to the total, shares to 1, and distances to the total at least."""
    runs = [WAVE + 0.1 * np.random.default_rng(seed).standard_normal(T.size) for seed in seeds]
    division = divide_error(chain(*runs))
    assert sum(part.part for part in division.parts) == pytest.approx(division.total, abs=1e-14)
    assert sum(part.distance for part in division.parts) >= division.total - 1e-14
    if division.total > 0.0:
        assert sum(part.share for part in division.parts) == pytest.approx(1.0)


def test_equal_neighbours_have_no_part():
    """A run that equals the one before it gets nothing."""
    division = divide_error(chain(WAVE, WAVE, 1.1 * WAVE, 1.1 * WAVE, 1.3 * WAVE))
    assert division["rig"].part == division["reduction"].part == 0.0
    assert division["integration"].part > 0.0 and division["law"].part > 0.0


def test_runs_are_read_at_the_times_of_the_test():
    """Runs with steps of their own are read by straight lines, over the time that all share."""
    fine = np.linspace(-1.0, 9.0, 3001)
    division = divide_error([("a", T, 3.0 * T), ("b", fine, 3.0 * fine)], parts=["rig"])
    assert division.total == pytest.approx(0.0, abs=1e-12)
    with pytest.raises(InputError, match="share no time"):
        divide_error([("a", T, WAVE), ("b", T + 50.0, WAVE)], parts=["rig"])
    with pytest.raises(InputError, match="a part for each step"):
        divide_error(chain(WAVE, WAVE))


def test_another_index_may_be_given():
    """Any index (reference, compared) can be divided."""
    division = divide_error(
        chain(WAVE, 2.0 * WAVE, 4.0 * WAVE),
        parts=["rig", "law"],
        index=lambda x, y: np.abs(y).max() - np.abs(x).max(),
    )
    peak = np.abs(WAVE).max()
    assert [part.part for part in division.parts] == pytest.approx([peak, 2.0 * peak])


@pytest.fixture(scope="module")
def led():
    return follow(portal(), {("A1", "ux"): loading(12)}, standing=("gravity",))


def test_a_led_specimen_is_the_cyclic_push(led):
    """Leading the floor gives the loops of a cyclic push to the same displacements."""
    from frame2d import gravity
    from frame2d.analysis import cyclic

    system = portal().compile()
    state = gravity(system).state
    pushed = cyclic(system, state, {"floor": 1.0}, node="A1", history=loading(12))
    for device in pushed.laws():
        loop = led.device(device)
        # The push begins where gravity leaves the floor, the led one at 0.
        last = pushed.device(device).force[-loop.force.size :]
        assert loop.force == pytest.approx(last, abs=2e-3 * np.abs(last).max())
    assert led.displacement("A1") == pytest.approx(loading(12), abs=1e-12)
    reaction = led.reactions()[("A1", "ux")]
    assert reaction == pytest.approx(pushed.factor[-reaction.size :], abs=2e-3 * np.abs(reaction).max())


def test_a_specimen_can_only_be_led_where_it_is_free():
    """Supports, gaps and unequal histories are refused."""
    frame = portal()
    for motion, message in (
        ({}, "motion is empty"),
        ({("A0", "ux"): loading(5)}, "is supported already"),
        ({("A1", "ux"): [0.0, np.nan, 1.0]}, "is not finite"),
        ({("A1", "ux"): [0.0, 1.0], ("B1", "uy"): [0.0, 0.0, 0.0]}, "one length"),
    ):
        with pytest.raises(InputError, match=message):
            follow(frame, motion)


def test_laws_are_exchanged_by_device():
    """Each law is replaced where its name says, the frame that is given stays as it was."""
    frame = portal()
    new = BoucWen(k=2e7, Fy=50e3)
    other = with_laws(frame, {"beam: end hinge": new, "brace": Bilinear(k=1e7, Fy=1e5), "panel": new})
    assert other.members["beam"].member.end is new and other.members["beam"].member.start == LINK
    assert other.members["brace"].member.law.k == 1e7 and other.members["panel"].member.rotation is new
    assert frame.members["brace"].member.law == PIN and frame.members["beam"].member.end == LINK
    with pytest.raises(InputError, match="did you mean 'brace'"):
        with_laws(frame, {"brase": new})


def test_measured_loops_are_those_of_the_devices(sensors, quantities, response, clock):
    """The loops of all four devices come out of the quantities, in the names of the response."""
    loops = measured_loops(sensors, quantities)
    assert set(loops) == set(response.laws())
    assert loops["brace"].kind == "translation" and loops["panel"].kind == "rotation"
    for name, loop in loops.items():
        true = response.device(name)
        at = np.interp(loop.time, clock, true.force - true.force[0])
        assert np.sqrt(np.mean((loop.force - at) ** 2)) < 0.02 * np.ptp(true.force), name


def test_laws_are_found_again_from_measured_loops(sensors, quantities):
    """Laws that were assumed 20 % wrong come back within 5 % of those in the specimen, with smaller errors."""
    wrong = Bilinear(k=PIN.k * 0.8, Fy=PIN.Fy * 1.2, b=PIN.b)
    assumed = with_laws(sensors.frame, {"brace": wrong})
    loops = {"brace": measured_loops(sensors, quantities)["brace"]}
    from frame2d.fitting import Effort

    refit = refit_devices(
        assumed, loops, effort=Effort(population=4, generations=6, starts=1, iterations=30), profile="none",
        progress=False,
    )  # fmt: skip
    found = refit.devices["brace"]
    assert found.before == wrong and found.after.k == pytest.approx(PIN.k, rel=0.05)
    assert found.after.Fy == pytest.approx(PIN.Fy, rel=0.05)
    assert found.error_after.force < 0.2 * found.error_before.force
    assert refit.frame.members["brace"].member.law is found.after
    assert assumed.members["brace"].member.law == wrong
    assert "brace: force" in str(refit)


def test_devices_of_one_kind_get_one_law(sensors, quantities):
    """A group is fitted together; any fitter may be used; a device in two groups is refused."""
    loops = measured_loops(sensors, quantities)
    pair = ("beam: start hinge", "beam: end hinge")
    seen = []

    def fitter(law, tests):
        seen.append(len(tests))
        return SimpleNamespace(law=BoucWen(k=law.k, Fy=0.9 * law.Fy, a=law.a, n=law.n))

    refit = refit_devices(sensors.frame, {name: loops[name] for name in pair}, groups=[pair], fitter=fitter)
    assert seen == [2] and refit.laws[pair[0]] is refit.laws[pair[1]]
    with pytest.raises(InputError, match="twice"):
        refit_devices(sensors.frame, loops, groups=[pair, pair], fitter=fitter)
    with pytest.raises(InputError, match="no loops"):
        refit_devices(sensors.frame, {}, fitter=fitter)


def test_the_whole_chain_is_run_and_divided():
    """A specimen whose law differs by 25 % from the assumed one: after the refit the law's part is the whole error."""

    def run(scale):
        def model(laws):
            return {"roof": (T, scale * laws * WAVE), "shear": (T, scale * laws * np.cos(T))}

        return model

    test = {"roof": (T, 0.99 * 1.25 * WAVE), "shear": (T, 1.25 * np.cos(T))}
    outcome = after_test(
        test, computed=run(1.0), reduced=run(1.0), reference=run(1.02), assumed=1.0, refitted=1.25
    )
    assert set(outcome.divisions) == {"roof", "shear"}
    roof = outcome.divisions["roof"]
    assert max(roof.parts, key=lambda part: abs(part.part)).name == "law"
    assert roof["integration"].part == pytest.approx(0.0, abs=1e-12) and roof["rig"].part > 0.0
    row = outcome.before_and_after()[0]
    assert row["error after"] < row["error before"] and row["peak before"] == pytest.approx(1.02, rel=1e-3)
    assert row["error after"] == pytest.approx(float(nrmse(test["roof"][1], 1.02 * 1.25 * WAVE, "range")))
    with pytest.raises(InputError, match="quantity of the computed run"):
        after_test(
            {"base": (T, WAVE)},
            computed=run(1.0),
            reduced=run(1.0),
            reference=run(1.0),
            assumed=1.0,
            refitted=1.0,
        )
