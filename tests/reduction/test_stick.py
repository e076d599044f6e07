"""Sticks fitted to a cyclic push of a frame."""

import numpy as np
import pytest

from frame2d.analysis import Rayleigh, modes
from frame2d.elements import BeamColumn, Link
from frame2d.errors import InputError
from frame2d.fitting import Effort
from frame2d.materials import Bilinear, Elastic
from frame2d.model import Frame
from frame2d.motions.record import Record
from frame2d.reduction import FrameModel, fidelity, protocol, stick_model
from frame2d.substructure import cut_at

QUICK = Effort(population=4, generations=25, starts=1, iterations=30)
TIME = np.arange(0.0, 3.0, 0.01)
PULSE = Record(4.0 * np.sin(2 * np.pi * 1.2 * TIME) * np.exp(-TIME), 0.01, "decaying sine", synthetic=True)


def storeys() -> Frame:
    """Three storeys of one bilinear spring each, weaker towards the top; a shear building as it should be."""
    frame = Frame("shear building")
    frame.node("0", 0.0, 0.0, support="fixed")
    for level, strength in ((1, 4e5), (2, 3.2e5), (3, 2e5)):
        frame.node(str(level), 0.0, 3.0 * level, support=("uy", "rz"))
        frame.lateral_mass(str(level), 4e4)
        frame.link(
            f"spring {level}",
            str(level - 1),
            str(level),
            Link(axial=Bilinear(strength / 0.01, strength, 0.05)),
        )
        frame.floor(f"floor {level}", [str(level)])
    return frame


def test_the_stick_of_a_shear_building_is_that_building():
    """Where storeys are springs, the fit finds their laws again and the fidelity table passes far within its bounds."""
    reference = FrameModel("shear building", storeys(), damping=None)
    stick = stick_model(reference, "Bilinear", effort=QUICK, amplitudes=(0.004, 0.008, 0.02))
    for spring, strength in zip(stick.springs, (4e5, 3.2e5, 2e5), strict=True):
        assert spring.fit.law.k == pytest.approx(strength / 0.01, rel=1e-3)
        assert spring.fit.law.Fy == pytest.approx(strength, rel=1e-2)
        assert stick.force(spring.name) == pytest.approx(spring.shear, abs=5e-3 * strength)
    found = fidelity(reference, stick.model, {"state": [PULSE]})
    assert found.passed
    assert max(abs(row.value) for row in found.select(index="nrmse")) < 0.02
    assert stick.frame.masses["floor 2"] == (4e4, 0.0, 0.0)
    assert stick.levels == {"floor 1": 3.0, "floor 2": 6.0, "floor 3": 9.0}
    assert "spring below floor 3 (floor 2 to floor 3)" in stick.text()


def test_an_actuator_level_divides_its_storey():
    """A column whose heads cannot turn bends antisymmetrically: each half of it is twice as stiff."""
    E, H, k = 210e9, 3.0, 2e7
    frame = Frame("two storeys")
    frame.node("0", 0.0, 0.0, support="fixed")
    column = BeamColumn(E, 1e-2, k * H**3 / (12.0 * E))
    for level in (1, 2):
        frame.node(str(level), 0.0, H * level, support=("rz",))
        frame.lateral_mass(str(level), 3e4)
        frame.member(f"column {level}", str(level - 1), str(level), column)
        frame.floor(f"floor {level}", [str(level)])
    cut = cut_at(frame, "column 2", 0.5 * H)
    reference = FrameModel("cut frame", cut, damping=Rayleigh(0.03, (1, 2)))
    stick = stick_model(
        reference, Elastic(1e7), actuators={"actuator": "column 2 cut"}, effort=QUICK, amplitudes=(0.005,)
    )
    assert list(stick.levels) == ["floor 1", "actuator", "floor 2"] and stick.levels["actuator"] == 4.5
    assert [spring.fit.law.k for spring in stick.springs] == pytest.approx([k, 2.0 * k, 2.0 * k], rel=1e-6)
    whole = modes(reference.system, None, 2)
    assert modes(stick.model.system, None, 2).period == pytest.approx(whole.period, rel=1e-6)
    assert stick.model.damping.ratios == pytest.approx([0.03, 0.03], rel=1e-6)
    assert "actuator" not in stick.frame.floors


def test_the_protocol_goes_to_and_fro_at_each_amplitude():
    """Two cycles at each drift, ending at rest."""
    history = protocol(10.0, (0.01, 0.02), cycles=2, points=40)
    assert history.size == 1 + 4 * 40 and history[0] == history[-1] == 0.0
    assert history.max() == pytest.approx(0.2) and history.min() == pytest.approx(-0.2)
    assert np.abs(history[:81]).max() == pytest.approx(0.1)


def test_wrong_sticks_are_named():
    """Actuator levels at floors, unknown nodes and floors raise errors that name them."""
    reference = FrameModel("shear building", storeys(), damping=None)
    with pytest.raises(InputError, match="needs no level of its own"):
        stick_model(reference, actuators={"actuator": "2"})
    with pytest.raises(InputError, match="node of the actuator level"):
        stick_model(reference, actuators={"actuator": "9"})
    with pytest.raises(InputError, match="floor of the pattern"):
        stick_model(reference, pattern={"attic": 1.0})
    with pytest.raises(InputError, match="height"):
        protocol(0.0)
