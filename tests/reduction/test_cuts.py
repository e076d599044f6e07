"""Candidate cuts, their test models and their ranking."""

import csv
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from frame2d.analysis import gravity, modes, push
from frame2d.demo.building import demo_frame
from frame2d.errors import InputError
from frame2d.model import Frame
from frame2d.motions.record import Record
from frame2d.reduction import Cut, FrameModel, Rig, candidate_cuts, rank_cuts
from frame2d.reduction import test_model as build

TIME = np.arange(0.0, 1.6, 0.01)
PULSE = Record(3.0 * np.sin(2 * np.pi * 1.3 * TIME) * np.exp(-TIME), 0.01, "decaying sine", synthetic=True)


@pytest.fixture(scope="module")
def frame() -> Frame:
    return demo_frame()


@pytest.fixture(scope="module")
def cuts(frame: Frame) -> dict[str, Cut]:
    return {cut.name: cut for cut in candidate_cuts(frame)}


@pytest.fixture(scope="module")
def full(frame: Frame):
    return FrameModel("full", frame).response(PULSE)


def test_candidates_cover_storeys_ratios_drives_and_devices(frame: Frame, cuts: dict[str, Cut]) -> None:
    """Every number of storeys, ratio and drive is there once, and so is every device; struts are never tested."""
    assert len(cuts) == 4 * 4 * 4 - 1 + 15 + 5
    assert not any("gravity" in name for cut in cuts.values() for name in cut.tested)
    half = cuts["storey 1 + 0.5 of the next: horizontal"]
    assert half.columns == dict.fromkeys(["column A2", "column B2", "column C2", "column D2"], 0.5)
    assert "pin 1" in half.tested and "pin 2" not in half.tested
    assert len(candidate_cuts(frame, storeys=1, ratios=(0.5,), drives=("top",), devices=False)) == 1


@pytest.mark.parametrize(
    "name", ["storey 1 + 0.5 of the next: all", "pin 2: own deformations", "link 2: own deformations"]
)
def test_a_cut_that_drives_everything_is_the_frame(
    frame: Frame, cuts: dict[str, Cut], full, name: str
) -> None:
    """With every freedom driven the test model moves as the full frame, to 1e-5 of the peak."""
    model = build(frame, cuts[name])
    response = FrameModel(name, model.frame).response(PULSE)
    for floor, _ in frame.levels():
        # A column in two pieces has a little more of its own second-order bending.
        close = 5e-4 if cuts[name].columns else 1e-6
        assert (
            np.abs(response.floor(floor) - full.floor(floor)).max() < close * np.abs(full.floor(floor)).max()
        )
    assert not model.released


def test_actuators_hold_the_specimen_in_equilibrium(frame: Frame, cuts: dict[str, Cut]) -> None:
    """In statics the horizontal actuators' forces sum to what the specimen's supports take."""
    model = build(frame, cuts["storey 1 + 0.5 of the next: horizontal"])
    assert [actuator.kind for actuator in model.actuators] == ["ux", "ux"]
    assert {actuator.name for actuator in model.actuators} == {"ux of the cut", "ux of floor 1"}
    system = model.frame.compile()
    response = push(system, gravity(system).state, node="A5", target=0.05, steps=10)
    forces = [model.demand(response, actuator)[1] for actuator in model.actuators]
    feet = {model.tested_node(f"{axis}0") for axis in "ABCD"}
    held = np.sum(
        [force for (node, part), force in response.reactions().items() if part == "ux" and node in feet],
        axis=0,
    )
    assert np.abs(held).max() > 1e5
    assert np.sum(forces, axis=0) == pytest.approx(-held, rel=1e-6, abs=1e-6 * np.abs(held).max())
    stroke, _ = model.demand(response, model.actuators[0])
    assert stroke[-1] == pytest.approx(response.displacement(model.actuators[0].at[0])[-1])


def test_one_actuator_leads_the_lower_floors_in_the_first_mode(frame: Frame, cuts: dict[str, Cut]) -> None:
    """With the drive "top" the computed side of floor 1 follows the cut; the specimen's floor 1 moves by itself."""
    model = build(frame, cuts["storey 1 + 0.5 of the next: top"])
    assert len(model.actuators) == 1 and model.actuators[0].name == "ux of the cut"
    response = FrameModel("top", model.frame).response(PULSE)
    shape = modes(model.continuous.compile(), None, 1)
    share = shape.displacement(1, "C1") / shape.displacement(1, "column A2 cut")
    top = response.displacement("column A2 cut")
    assert response.displacement("C1") == pytest.approx(share * top, abs=1e-12)
    own = response.displacement("C1 tested")
    assert np.abs(own - share * top).max() > 1e-3 * np.abs(top).max()
    assert response.floor("floor 1") == pytest.approx(own)
    mass = sum(values[0] for values in model.frame.masses.values())
    assert mass == pytest.approx(sum(values[0] for values in frame.masses.values()))


def test_the_best_cut_is_found_by_its_error(frame: Frame, cuts: dict[str, Cut], tmp_path) -> None:
    """Cut at mid-height with two actuators beats the cut at the floor; what the rig lacks stands behind."""
    chosen = [
        cuts[name]
        for name in (
            "storey 1: horizontal",
            "storey 1 + 0.5 of the next: horizontal",
            "storey 1 + 0.5 of the next: all",
            "pin 2: own deformations",
            "link 1: chord rotation",
        )
    ]
    ranking = rank_cuts(
        frame, [PULSE], chosen, rig=Rig(4, 1e6, 0.2), must_test=["link 1", "pin 1"], least_tested=0.0
    )
    names = [entry.cut.name for entry in ranking.entries]
    assert ranking.best.cut.name == "storey 1 + 0.5 of the next: horizontal" == names[0]
    assert names[1] == "storey 1: horizontal"
    by_name = {entry.cut.name: entry for entry in ranking.entries}
    at_floor, half = by_name["storey 1: horizontal"], ranking.best
    assert half.error < 0.5 * at_floor.error and half.lost < at_floor.lost
    assert (at_floor.actuators, half.actuators) == (1, 2)
    assert half.best_possible and half in ranking.front()
    everything = by_name["storey 1 + 0.5 of the next: all"]
    assert everything.nrmse < 1e-3 and everything.lost == 0.0
    assert "actuators of 4" in everything.refused and "rotations to drive" in everything.refused
    assert by_name["pin 2: own deformations"].refused == "does not test link 1, pin 1"
    assert by_name["link 1: chord rotation"].nrmse < 0.01 and by_name["link 1: chord rotation"].lost == 0.0
    ranking.to_csv(tmp_path / "cuts.csv")
    with (tmp_path / "cuts.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert [row["cut"] for row in rows] == names and float(rows[0]["force"]) == half.force
    assert "storey 1 + 0.5 of the next: horizontal" in str(ranking)
    assert ranking.as_dict()["cuts"][0]["actuators"] == 2


def test_a_small_rig_refuses_and_says_why(frame: Frame, cuts: dict[str, Cut]) -> None:
    """Force and stroke beyond 85 % of the capacity make a cut infeasible, in words; no best cut is an error."""
    ranking = rank_cuts(
        frame, [PULSE], [cuts["storey 1: horizontal"]], rig=Rig(1, 1e5, 0.005), least_tested=0.0
    )
    (only,) = ranking.entries
    assert not only.feasible and "force" in only.refused and "stroke" in only.refused
    with pytest.raises(InputError, match="no candidate cut is feasible"):
        _ = ranking.best


def test_plastic_moments_measure_the_moment_lost(frame: Frame, cuts: dict[str, Cut]) -> None:
    """The share of the moment lost is its peak over the plastic moment of the cut column."""
    name = "storey 1 + 0.5 of the next: horizontal"
    strength = dict.fromkeys(cuts[name].columns, 500e3)
    (entry,) = rank_cuts(frame, [PULSE], [cuts[name]], plastic=strength, least_tested=0.0).entries
    assert entry.lost_share == pytest.approx(entry.lost / 500e3)


def test_an_interrupted_ranking_keeps_what_was_run(frame: Frame, cuts: dict[str, Cut], monkeypatch) -> None:
    """A keyboard interrupt ends the search with the candidates run so far, flagged and counted."""
    import frame2d.reduction.ranking as ranking

    built = []

    def impatient(*given, **named):
        built.append(given)
        if len(built) > 1:
            raise KeyboardInterrupt
        return build(*given, **named)

    monkeypatch.setattr(ranking, "test_model", impatient)
    found = rank_cuts(frame, [PULSE], [cuts["pin 2: own deformations"]] * 3)
    assert found.interrupted and found.left == 2 and len(found.entries) == 1
    assert "INTERRUPTED: 2" in found.text()


def test_threads_find_the_same(frame: Frame, cuts: dict[str, Cut]) -> None:
    """Candidates run side by side give the numbers and the order that they give one after the other."""
    chosen = [cuts[name] for name in ("storey 1: horizontal", "pin 2: own deformations")]
    alone = rank_cuts(frame, [PULSE], chosen)
    with ThreadPoolExecutor(2) as pool:
        together = rank_cuts(frame, [PULSE], chosen, executor=pool)
    assert together.as_dict() == alone.as_dict()


def test_wrong_searches_are_named(frame: Frame, cuts: dict[str, Cut]) -> None:
    """No record, unknown drives, ratios and devices raise errors that name them."""
    with pytest.raises(InputError, match="0 records"):
        rank_cuts(frame, [])
    with pytest.raises(InputError, match="drive is"):
        candidate_cuts(frame, drives=("sideways",))
    with pytest.raises(InputError, match="ratio of a cut"):
        candidate_cuts(frame, ratios=(1.0,))
    with pytest.raises(InputError, match="device that must be tested"):
        rank_cuts(frame, [PULSE], must_test=["link 9"])
    with pytest.raises(InputError, match=r"Rig\.force"):
        Rig(force=0.0)
