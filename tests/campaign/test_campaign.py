"""The campaign: order, inspection, replacement, recovered stiffness, resumption, and runs that fail."""

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from frame2d.analysis import Rayleigh, gravity, time_history
from frame2d.campaign import (
    Campaign,
    ComputedRunner,
    Criteria,
    DeviceCapacity,
    LimitState,
    Loop,
    Measured,
    StaysElastic,
    Wear,
    inspect,
)
from frame2d.campaign.wear import turning_points
from frame2d.elements import BeamColumn, Brace
from frame2d.errors import Frame2dError, InputError
from frame2d.materials import Bilinear, Elastic, LowCycleFatigue
from frame2d.materials.drive import drive
from frame2d.model import Frame

TIME = np.arange(0.0, 4.0, 0.01)
QUAKE = SimpleNamespace(
    acceleration=3.0 * np.sin(2 * np.pi * 1.6 * TIME) * np.sin(np.pi * TIME / 4.0),
    dt=0.01,
    name="invented sine",
)
NAMES = ("damage limitation", "significant damage", "near collapse", "damage limitation again")


def braced() -> Frame:
    """Two-storey elastic portal with one yielding diagonal a storey (invented)."""
    frame = Frame("braced portal (invented)")
    column = BeamColumn(210e9, 0.01, 1.2e-4, geometry="p-delta")
    for level in range(3):
        for axis, x in (("A", 0.0), ("B", 6.0)):
            node = frame.node(f"{axis}{level}", x, 3.5 * level, "fixed" if level == 0 else None)
            if level:
                frame.mass(node, 15e3)
                frame.load(node, fy=-150e3)
                frame.member(f"column {node}", f"{axis}{level - 1}", node, column)
        if level:
            frame.member(f"beam {level}", f"A{level}", f"B{level}", BeamColumn(210e9, 0.01, 2e-4))
            law = Bilinear(6e7, 90e3, 0.02)
            frame.member(f"diagonal {level}", f"A{level - 1}", f"B{level}", Brace(law), device=True)
            frame.floor(f"floor {level}", [f"A{level}", f"B{level}"])
    return frame


SYSTEM = braced().compile()
OPTIONS = {"damping": Rayleigh(0.03, (1, 2)), "drift_limit": 0.1}
CRITERIA = Criteria(
    devices=(
        DeviceCapacity(
            "diagonal *",
            {NAMES[0]: 0.01, NAMES[2]: 0.02},
            60e3,
            0.1,
            elastic=0.003,
            fit=0.003,
            source="invented",
        ),
    ),
    elastic=(StaysElastic("column *", 0.15, 355e6 / 210e9, "S355"),),
)


def states(last: float = 2.5) -> list[LimitState]:
    quiet = {"quiet": 1.0}
    return [
        LimitState(NAMES[0], QUAKE, 0.8, "dl", **quiet),
        LimitState(NAMES[1], QUAKE, 1.5, "sd", **quiet),
        LimitState(
            NAMES[2], QUAKE, last, "nc", replace="all", groups=(("diagonal 1", "diagonal 2"),), **quiet
        ),
        LimitState(NAMES[3], QUAKE, 0.8, "dl2", repeats=NAMES[0], **quiet),
    ]


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("campaign")
    return folder, Campaign(ComputedRunner(SYSTEM, OPTIONS), states(), CRITERIA, folder).run()


def test_state_is_carried_from_one_limit_state_to_the_next(done):
    """The second test starts where the first came to rest, which a run by hand repeats to the last bit."""
    _, results = done
    assert [r.limit_state for r in results] == list(NAMES)
    from frame2d.campaign.replacement import rest

    begin = gravity(SYSTEM).state
    first = time_history(SYSTEM, states()[0].padded, begin, factor=0.8, **OPTIONS)
    second = time_history(
        SYSTEM, states()[1].padded, rest(SYSTEM, first.state, 4).state, factor=1.5, **OPTIONS
    )
    assert np.array_equal(results[1].measured.roof, second.floor("floor 2"))
    assert results[1].residual != results[0].residual


def test_wear_adds_up_until_a_device_is_replaced(done):
    """Energy and turning points grow over the tests; new devices begin at zero."""
    _, results = done
    lost = [r.measured.devices["diagonal 1"].lost[-1] for r in results]
    wear = [r.wear["diagonal 1"] for r in results]
    assert wear[2].energy == pytest.approx(sum(lost[:3])) and wear[2].tests == 3
    assert wear[3].energy == pytest.approx(lost[3]) and wear[3].tests == 1
    assert results[3].measured.devices["diagonal 1"].force[0] == pytest.approx(0.0, abs=1.0)


def test_the_repeated_test_recovers_its_stiffness(done):
    """After replacement both measures of stiffness are within 5 % of the first test's, and of nothing before."""
    _, results = done
    worst = results[3].inspection.by_criterion()["recovered stiffness"]
    assert worst.verdict == "within" and worst.demand < 0.02 and worst.capacity == 0.05
    assert "recovered stiffness" not in results[2].inspection.by_criterion()
    assert results[3].periods[0] == pytest.approx(results[0].periods[0], rel=1e-3)
    assert results[2].replacement is not None and results[2].replacement.recentred


def test_verdicts_follow_demand_and_capacity(done):
    """Each finding's verdict is its own comparison; a missing capacity is not judged; the whole is the worst."""
    _, results = done
    seen = set()
    for result in results:
        for f in result.inspection.findings:
            seen.add(f.verdict)
            if f.capacity is None:
                assert f.verdict == "not judged" and f.use is None
            else:
                assert (f.verdict == "within") == (f.demand <= f.capacity)
        exceeded = any(f.verdict == "exceeded" for f in result.inspection.findings)
        assert (result.inspection.verdict == "exceeded") == exceeded
    assert seen == {"within", "exceeded", "not judged"}
    assert "diagonal 1" in results[2].inspection.beyond()
    assert "near collapse: completed" in str(results[2].inspection)


def test_strain_of_columns_is_that_of_beam_theory(done):
    """The largest strain is |N|/EA + |M|c/EI of the end forces of the response."""
    _, results = done
    response = results[0].response()
    ends = response.end_forces("column A1")
    m = np.maximum(abs(ends["M_start"]), abs(ends["M_end"]))
    strain = abs(ends["N"]) / (210e9 * 0.01) + m * 0.15 / (210e9 * 1.2e-4)
    assert results[0].measured.strain["column A1"] == pytest.approx(strain.max(), rel=1e-3)


def test_an_interrupted_campaign_goes_on_where_it_stopped(done, tmp_path):
    """Stopped after two of four tests and started again, it takes two over and ends in the same bits."""
    _, results = done
    half = Campaign(ComputedRunner(SYSTEM, OPTIONS), states(), CRITERIA, tmp_path).run(until=NAMES[1])
    assert [r.resumed for r in half] == [False, False]
    rest = Campaign(ComputedRunner(SYSTEM, OPTIONS), states(), CRITERIA, tmp_path).run()
    assert [r.resumed for r in rest] == [True, True, False, False]
    for one, other in zip(results, rest, strict=True):
        assert np.array_equal(one.measured.shear, other.measured.shear)
        assert one.residual == other.residual and one.wear == other.wear
        assert one.inspection == other.inspection and one.replacement == other.replacement


def test_what_has_changed_is_run_again(done, tmp_path):
    """Another factor of the third limit state leaves the first two and runs the rest again; another frame, all."""
    import shutil

    folder, _ = done
    shutil.copytree(folder, tmp_path / "copy")
    changed = Campaign(ComputedRunner(SYSTEM, OPTIONS), states(2.6), CRITERIA, tmp_path / "copy").run()
    assert [r.resumed for r in changed] == [True, True, False, False]
    other = ComputedRunner(SYSTEM, {**OPTIONS, "damping": Rayleigh(0.02, (1, 2))})
    assert not Campaign(other, states(2.6)[:1], CRITERIA, tmp_path / "copy").run()[0].resumed


def test_results_are_plain_data(done):
    """A result is JSON, with units in its keys or beside its numbers, and is what stands on disk."""
    folder, results = done
    data = json.loads(json.dumps(results[2].as_data()))
    stored = json.loads((folder / "3_nc" / "result.json").read_text())
    assert {key: stored[key] for key in data} == data
    assert data["replacement"]["recentred"] and data["inspection"]["verdict"] == "exceeded"


def test_histories_come_back_from_disk(done, tmp_path):
    """What `Measured.save` writes is what `Measured.load` reads, in order and name; other files are refused."""
    _, results = done
    one = results[0].measured
    odd = replace(one, devices={"a/b: c": one.devices["diagonal 1"]}, imbalance=None)
    odd.save(tmp_path / "m.h5")
    back = Measured.load(tmp_path / "m.h5")
    assert list(back.devices) == ["a/b: c"] and back.imbalance is None and back.heights == one.heights
    assert np.array_equal(back.shear, one.shear) and list(back.drifts) == list(one.drifts)
    (tmp_path / "no.h5").write_bytes(b"")
    with pytest.raises((InputError, OSError)):
        Measured.load(tmp_path / "no.h5")


def test_a_run_without_equilibrium_is_no_collapse_and_ends_the_campaign(tmp_path):
    """A test that does not converge is reported as that, is not judged, keeps its histories, and nothing follows."""
    from frame2d.analysis import AnalysisError, Outcome

    def stops(system, shaking, state, *, factor, **options):
        response = time_history(system, shaking, state, factor=factor, duration=None, **options)
        raise AnalysisError("no equilibrium", replace(response, outcome=Outcome.NOT_CONVERGED))

    results = Campaign(ComputedRunner(SYSTEM, OPTIONS, stops), states(), CRITERIA, tmp_path).run()
    assert len(results) == 1
    test, inspection = results[0].measured, results[0].inspection
    assert not test.completed and not test.collapsed and "not a collapse" in test.outcome
    assert inspection.verdict == "not judged" and test.time.size > 100
    again = Campaign(ComputedRunner(SYSTEM, OPTIONS, stops), states(), CRITERIA, tmp_path).run()
    assert again[0].resumed and len(again) == 1


def test_works_that_fail_lose_no_history(tmp_path):
    """Where replacement raises, the histories of the test are on disk, and the next start runs it again."""

    class NoHands(ComputedRunner):
        def replace(self, limit_state, state, devices):
            raise Frame2dError("nobody to replace it")

    campaign = Campaign(NoHands(SYSTEM, OPTIONS), states()[2:3], CRITERIA, tmp_path)
    with pytest.raises(Frame2dError, match="nobody"):
        campaign.run()
    assert Measured.load(tmp_path / "1_nc" / "measured.h5").completed
    assert not (tmp_path / "1_nc" / "result.json").exists()
    (result,) = Campaign(ComputedRunner(SYSTEM, OPTIONS), states()[2:3], CRITERIA, tmp_path).run()
    assert not result.resumed and result.replacement is not None


def test_a_test_that_finds_no_rest_is_not_judged(monkeypatch):
    """Where statics finds no equilibrium after the motion, the histories stay, nothing is judged and nothing follows."""
    from frame2d.analysis import AnalysisError
    from frame2d.campaign import runner

    def none(system, state, steps):
        raise AnalysisError("no equilibrium at rest", None)

    monkeypatch.setattr(runner, "rest", none)
    (result,) = Campaign(ComputedRunner(SYSTEM, OPTIONS), states(), CRITERIA).run()
    assert "no rest was found" in result.measured.outcome and result.inspection.verdict == "not judged"


def test_a_collapse_is_called_by_its_criterion():
    """A run that passes the drift limit is collapsed, and nothing follows."""
    results = Campaign(ComputedRunner(SYSTEM, {**OPTIONS, "drift_limit": 0.002}), states(), CRITERIA).run()
    assert (
        len(results) == 1
        and results[0].measured.collapsed
        and results[0].measured.outcome.startswith("collapsed")
    )


def test_fatigue_is_counted_over_all_tests_as_the_law_counts():
    """Miner's sum from turning points of two joined histories is that of the law over the whole of them."""
    rng = np.random.default_rng(4)
    parts = [np.cumsum(rng.normal(0, 0.002, 400)) for _ in range(2)]
    parts[1] += parts[0][-1]
    loops = [Loop(u, u, np.zeros_like(u), False) for u in parts]
    wear = Wear().after(loops[0]).after(loops[1])
    law = LowCycleFatigue(Elastic(1.0), 0.5, 0.5, 0.004)
    whole = drive(law, np.concatenate([[0.0], *parts]))
    ours = DeviceCapacity("*", one_cycle=0.5, elastic=0.004).damage(np.array(wear.turning))
    assert ours == pytest.approx(LowCycleFatigue.damage(whole.memory), rel=1e-9) and ours > 0.0
    assert len(wear.turning) < 600
    assert turning_points(np.array([0.0, 1.0, 2.0, 2.0, 1.0, 3.0])).tolist() == [0.0, 2.0, 1.0, 3.0]


def test_stiffness_of_a_linear_loop_is_its_slope():
    """Secant and regression of V = K·u are K."""
    u = np.sin(np.linspace(0, 7, 200))
    test = Measured(np.arange(200.0), {"roof": u}, {"roof": u / 3}, 5.0 * u + 1.0, {}, {"roof": 3.0})
    assert test.secant() == pytest.approx(5.0) and test.regression() == pytest.approx(5.0)
    softer = replace(test, shear=4.0 * u)
    found = inspect(softer, {"roof": 0.006}, {}, Criteria(), "x", test, (1.0, 1.1)).by_criterion()
    assert found["recovered stiffness"].demand == pytest.approx(0.2)
    assert found["residual drift"].verdict == "exceeded"


def test_bad_campaigns_are_refused_before_they_run():
    """Twins, repetitions of what never was, unknown devices, bare arrays and numbers in % are named."""
    one = LimitState("a", QUAKE)
    with pytest.raises(InputError, match="comes twice"):
        Campaign(ComputedRunner(SYSTEM), [one, one])
    with pytest.raises(Frame2dError, match="does not come before"):
        Campaign(ComputedRunner(SYSTEM), [LimitState("a", QUAKE, repeats="b")])
    with pytest.raises(InputError, match="device to replace after 'a'"):
        Campaign(ComputedRunner(SYSTEM), [LimitState("a", QUAKE, replace=("diagonal 7",))])
    with pytest.raises(InputError, match="bare array"):
        LimitState("a", np.zeros(3))
    with pytest.raises(InputError, match="a ratio, not %"):
        Criteria(residual_drift=0.5)
    with pytest.raises(InputError, match="missing"):
        Campaign(ComputedRunner(SYSTEM), [])
    with pytest.raises(InputError, match="no member matches"):
        StaysElastic("pillar *", 0.1, 0.002).members(["column 1"])
