"""The demo runs from end to end, its numbers are stable, and the physics between them holds."""

import json

import pytest

from frame2d.cli import main
from frame2d.demo.building import STOREYS, demo_frame


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Results of the quick demo, run by its command."""
    where = tmp_path_factory.mktemp("demo") / "out"
    assert main(["demo", "--out", str(where), "--quick"]) == 0
    return where


@pytest.fixture(scope="module")
def summary(folder):
    """What the demo found."""
    return json.loads((folder / "summary.json").read_text())


def test_every_stage_of_the_job_is_in_the_summary(summary):
    """Fits, reduction, cuts, motions, rehearsal, limit states and replacement are there, and say that they are invented."""
    for name in (
        "job",
        "building",
        "fits",
        "reduction",
        "cuts",
        "motions",
        "capacity",
        "rehearsal",
        "limit_states",
    ):
        assert summary[name], name
    assert summary["invented"] and "never replace" in summary["caution"][0]
    assert len(summary["fits"]["blocks"]) == 3


def test_the_main_numbers_are_stable(summary):
    """Periods, strength and drifts stay where they were when they were last looked at."""
    assert summary["periods_s"][:3] == pytest.approx([0.81, 0.275, 0.158], rel=0.02)
    assert summary["push_peak_N"] == pytest.approx(640e3, rel=0.05)
    drifts = [max(state["peak_drift"].values()) for state in summary["limit_states"]]
    assert drifts == pytest.approx([0.0050, 0.0069, 0.0121, 0.0053], rel=0.1)


def test_every_test_is_completed_and_closes_its_energy(summary):
    """All four tests run to their end on the rig, with an energy imbalance below 0.1 %."""
    for state in summary["limit_states"]:
        assert state["outcome"] == "completed" and state["energy_imbalance"] < 1e-3, state["limit_state"]


def test_the_work_of_test_and_reference_is_counted(summary):
    """Each test and its reference say how many evaluations and iterations they took; the reference factors in each."""
    for state in summary["limit_states"]:
        for counts in (state["counts"], state["reference"]["counts"]):
            assert min(counts[name] for name in ("evaluations", "iterations", "factorisations")) > 0
        reference = state["reference"]["counts"]
        assert reference["factorisations"] >= reference["iterations"] > 1000


def test_stronger_motions_ask_for_more(summary):
    """Base shear and the devices' energy rise from damage limitation to near collapse."""
    first = summary["limit_states"][:3]
    shears = [state["peak_base_shear_N"] for state in first]
    lost = [sum(device["lost_J"] for device in state["devices"].values()) for state in first]
    assert shears == sorted(shears) and lost == sorted(lost)


def test_the_test_stays_near_its_reference(summary):
    """Roof displacement of each test is within 3 % of the range of the iterated, all-computed frame."""
    for state in summary["limit_states"]:
        rows = next(c["rows"] for c in state["comparison"] if c["quantity"] == "roof displacement")
        assert next(row["value"] for row in rows if row["name"] == "nrmse_range") < 0.03, state["limit_state"]


def test_replaced_devices_start_free_and_the_frame_comes_back(summary):
    """New devices start at zero force, residual drifts do not grow by the works, and the stiffness is recovered."""
    for state in summary["limit_states"][1:3]:
        works = state["replacement"]
        assert len({swap["device"] for swap in works["swaps"]}) == 3 * STOREYS
        assert all(abs(swap["first_force"]) < 1.0 for swap in works["swaps"])
        assert works["largest_after"] <= works["largest_before"]
    found = {f["criterion"]: f for f in summary["limit_states"][3]["inspection"]["findings"]}
    assert found["recovered stiffness"]["verdict"] == "within"


def test_the_best_cut_is_the_one_that_is_tested(summary):
    """The ranking finds the cut that the demo's laboratory tests."""
    first = summary["cuts"]["tables"][0]["rows"][0]
    assert first[0].startswith("pin 1") and first[-1] == "within"


def test_the_rehearsal_ran_on_a_rig_in_another_process(summary):
    """The remote test passed its checks and completed, with no limit hit."""
    remote = summary["rehearsed"]["remote_test"]
    assert remote["ending"] == "completed" and all(check["ok"] for check in remote["checks"].values())
    assert all(share < 1.0 for share in remote["guard_shares"].values())


def test_pictures_and_series_are_written(folder):
    """Pictures, responses and VTK series are files with something in them."""
    for name in (
        "frame.png",
        "loops.png",
        "energy.png",
        "push.h5",
        "campaign/3_nc/response.h5",
        "report.html",
    ):
        assert (folder / name).stat().st_size > 1000, name
    assert list((folder / "vtk").glob("*.pvd"))


def test_the_report_opens_in_a_browser(folder, page):
    """The demo's report has no error, asks the network for nothing, and shows every picture."""
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto((folder / "report.html").as_uri())
    assert page.evaluate(
        "[...document.images].every(image => image.complete && image.naturalWidth > 0 && image.alt)"
    )
    assert all(url.startswith(("file:", "data:")) for url in asked) and page.said == []


def test_the_demo_frame_has_its_devices():
    """One weakened link, one splice and one pinned brace end a storey are devices."""
    assert len(demo_frame().devices()) == 3 * STOREYS


def test_a_file_in_the_way_is_named(tmp_path, capsys):
    """The command refuses an output path that is a file, with one line."""
    (tmp_path / "taken").write_text("")
    assert main(["demo", "--out", str(tmp_path / "taken")]) == 1
    assert "allowed: a folder" in capsys.readouterr().err


def test_an_unknown_command_shows_what_there_is(capsys):
    """Wrong commands end with the list of commands."""
    with pytest.raises(SystemExit):
        main(["nothing"])
    assert "demo" in capsys.readouterr().err
