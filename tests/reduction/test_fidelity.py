"""The fidelity table: what it compares, and that it can fail."""

import csv

import numpy as np
import pytest

from frame2d.analysis import Outcome
from frame2d.demo.building import demo_frame
from frame2d.demo.prototype import SHARE, prototype
from frame2d.elements import Link
from frame2d.errors import InputError
from frame2d.materials import Bilinear
from frame2d.model import Frame
from frame2d.motions.record import Record
from frame2d.reduction import BuildingModel, FrameModel, Limits, fidelity, mac

PULSE = Record(
    3.0 * np.sin(2 * np.pi * 1.2 * np.arange(0.0, 3.0, 0.01)) * np.exp(-np.arange(0.0, 3.0, 0.01)),
    0.01,
    "decaying sine",
    synthetic=True,
)


def springs(mass: float = 5e4, stiffness: float = 2e7, strength: float = 2e5, name: str = "springs") -> Frame:
    """Two storeys of one bilinear spring each."""
    frame = Frame(name)
    frame.node("0", 0.0, 0.0, support="fixed")
    for level in (1, 2):
        frame.node(str(level), 0.0, 3.0 * level, support=("uy", "rz"))
        frame.lateral_mass(str(level), mass)
        frame.link(
            f"spring {level}", str(level - 1), str(level), Link(axial=Bilinear(stiffness, strength, 0.03))
        )
        frame.floor(f"floor {level}", [str(level)])
    return frame


def test_a_model_is_faithful_to_itself():
    """Every index of a model against itself is zero, one for MAC and gain, and passes."""
    model = FrameModel("springs", springs(), damping=None)
    found = fidelity(model, model, {"some state": [PULSE, (PULSE, 2.0), PULSE]}, modes=2)
    assert found.passed and not found.failures() and not found.notes
    for row in found.rows:
        if row.value is not None:
            assert row.value == pytest.approx(
                1.0 if row.index in ("MAC", "FEI amplitude") else 0.0, abs=1e-12
            ), row
    assert {row.index for row in found.rows} >= {
        "period error", "MAC", "peak error", "nrmse", "energy error", "FEI amplitude", "FEI delay", "residual difference",
    }  # fmt: skip
    assert found.select(part="push", index="largest difference")[0].passed


def test_a_heavier_and_weaker_model_fails_by_what_it_differs():
    """21 % more mass lengthens periods by 10 %; 20 % less strength lowers the push by about as much; both fail."""
    reference = FrameModel("reference", springs(), damping=None)
    other = FrameModel("other", springs(mass=1.21 * 5e4, strength=1.6e5), damping=None)
    found = fidelity(reference, other, {"state": [PULSE]}, modes=2)
    assert not found.passed
    for row in found.select(index="period error"):
        assert row.value == pytest.approx(0.10, abs=1e-9) and row.passed is False
    assert all(row.value == pytest.approx(1.0) and row.passed for row in found.select(index="MAC"))
    assert found.select(part="push", index="peak error")[0].value == pytest.approx(-0.2, abs=0.08)
    assert found.notes == ("state: 1 records; 3 or more are usual",)
    wide = fidelity(
        reference, other, {}, Limits(period=0.11, push=None, nrmse=None, peak=None, energy=None), modes=2
    )
    assert wide.passed
    assert all(row.passed is None for row in wide.select(part="push"))


def test_the_table_is_text_dict_and_csv(tmp_path):
    """Text names both models and the verdict; the dict and the CSV hold every row."""
    reference = FrameModel("the reference", springs(), damping=None)
    other = FrameModel("the other", springs(mass=6.5e4), damping=None)
    found = fidelity(reference, other, {"state": [(PULSE, 1.5)]}, modes=1)
    assert "the other against the reference" in str(found) and "FAIL" in str(found)
    assert "decaying sine × 1.5" in found.text(full=True)
    assert len(found.as_dict()["rows"]) == len(found.rows)
    found.to_csv(tmp_path / "fidelity.csv")
    with (tmp_path / "fidelity.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(found.rows)
    assert float(rows[0]["value"]) == found.rows[0].value and rows[0]["index"] == "period error"
    kept = found.worst()
    assert 0 < len(kept) < len(found.rows)
    nrmse_rows = [abs(row.value) for row in found.select(index="nrmse")]
    assert max(nrmse_rows) in [row.value for row in kept]


def test_the_plane_frame_of_the_building_is_proved_against_it():
    """The demo frame against its twisting building: same periods and push within bounds; torsion shows in histories."""
    reference = BuildingModel("building", prototype(), "long 1", SHARE)
    reduced = FrameModel("plane frame", demo_frame())
    found = fidelity(reference, reduced, {"state": [PULSE]}, push_steps=20)
    for row in [*found.select(index="period error"), *found.select(index="MAC"), *found.select(part="push")]:
        assert row.passed, row
    assert all(abs(row.value) < 0.01 for row in found.select(index="period error"))
    apart = [row.value for row in found.select(index="nrmse") if row.quantity.startswith("floor")]
    assert 1e-3 < max(apart) < 0.1
    straight = BuildingModel("building that does not twist", prototype().holding("uy", "rz"), "long 1", SHARE)
    close = fidelity(straight, reduced, {"state": [PULSE]}, push_steps=20)
    closer = [row.value for row in close.select(index="nrmse") if row.quantity.startswith("floor")]
    assert max(closer) < 0.3 * max(apart)


def test_modes_are_matched_by_shape_in_a_building_that_twists_much():
    """With mass a quarter of the side beside the middle, each mode of the plane frame still finds its own shape."""
    reference = BuildingModel("building", prototype(0.25), "long 2", SHARE)
    found = fidelity(reference, FrameModel("plane frame", demo_frame()), {}, push_steps=5)
    assert all(row.value > 0.95 for row in found.select(index="MAC"))
    assert all(abs(row.value) < 0.1 for row in found.select(index="period error"))
    assert len(found.select(index="MAC")) == 3


def test_every_index_can_be_asked_for():
    """All indices of a comparison stand in the table as rows without bounds, beside the usual ones."""
    reference = FrameModel("reference", springs(), damping=None)
    other = FrameModel("other", springs(mass=5.2e4), damping=None)
    found = fidelity(reference, other, {"state": [PULSE]}, modes=1, every_index=True)
    rows = found.select(quantity="floor 2 ux", index="sprague_geers_combined")
    assert len(rows) == 1 and rows[0].passed is None and rows[0].value > 0.0
    (usual,) = found.select(quantity="floor 2 ux", index="nrmse")
    (same,) = found.select(quantity="floor 2 ux", index="nrmse_range")
    assert usual.value == same.value


def test_interrupted_tables_keep_what_was_computed():
    """A keyboard interrupt in a later run leaves the rows of the earlier ones and flags the table."""
    model = FrameModel("springs", springs(), damping=None)

    runs = []

    class Impatient(FrameModel):
        def run(self, record, factor=1.0, dt=None):
            runs.append(record.name)
            if len(runs) > 1:
                raise KeyboardInterrupt
            return super().run(record, factor, dt)

    found = fidelity(model, Impatient("impatient", springs(), damping=None), {"state": [PULSE] * 3}, modes=2)
    assert found.interrupted and not found.passed
    assert len(found.select(record="decaying sine", index="energy error", quantity="all devices")) == 1
    assert "INTERRUPTED" in found.text()


def test_a_model_that_collapses_alone_is_seen():
    """Ends that differ are a failed row, and the histories are compared as long as both last."""
    reference = FrameModel("reference", springs(), damping=None)
    frail = FrameModel("frail", springs(strength=5e4), damping=None, drift_limit=0.01)
    found = fidelity(reference, frail, {"state": [(PULSE, 3.0)]}, modes=1)
    (end,) = found.select(quantity="outcome")
    assert end.passed is False and "collapsed" in end.note
    assert frail.run(PULSE, 3.0).outcome is Outcome.COLLAPSED


def test_mac_is_one_for_scaled_shapes_and_none_for_orthogonal_ones():
    """MAC is blind to scale and sign, and zero for orthogonal shapes."""
    shape = np.array([1.0, 2.0, 3.0])
    assert mac(shape, -4.0 * shape) == pytest.approx(1.0)
    assert mac(shape, np.array([3.0, 0.0, -1.0])) == pytest.approx(0.0, abs=1e-15)


def test_wrong_tables_are_named():
    """Models without a common floor, bounds that are none and unknown denominators raise errors that name them."""
    model = FrameModel("springs", springs(), damping=None)
    other = springs()
    other.floors = {}
    other.floor("roof", ["2"])
    with pytest.raises(InputError, match="no floor of one name"):
        fidelity(model, FrameModel("other", other), {})
    with pytest.raises(InputError, match=r"Limits\.period"):
        Limits(period=-0.1)
    with pytest.raises(InputError, match="denominator"):
        Limits(denominator="mean")
    with pytest.raises(InputError, match="field of a row"):
        fidelity(model, model, {}).select(colour="red")
