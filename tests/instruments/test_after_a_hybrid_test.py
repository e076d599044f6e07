"""The whole way after a virtual hybrid test: laws refitted to what was measured, models rerun, the error divided."""

from dataclasses import replace

import numpy as np
import pytest

from frame2d import BeamColumn, Frame, time_history
from frame2d.analysis import StiffnessMass
from frame2d.component_tests import from_arrays
from frame2d.elements import Brace
from frame2d.errors import InputError
from frame2d.fitting import Effort
from frame2d.hybrid import Command, FrameSolver, FrameSpecimen, Limits, OperatorSplitting, Rig, Sensors
from frame2d.hybrid.virtual import virtual_test
from frame2d.instruments import (
    Bar,
    Channel,
    after_test,
    follow_specimen,
    reduce,
    refit_devices,
    sensor_map,
    signals_of,
    synchronise,
    virtual_recordings,
    with_laws,
)
from frame2d.materials import Bilinear
from frame2d.motions.record import Record
from frame2d.sections import european
from frame2d.substructure import split

ASSUMED = Bilinear(k=6.0e7, Fy=150e3, b=0.03)
REAL = replace(ASSUMED, Fy=190e3, k=5.5e7)
LIMITS = Limits((-0.2, 0.2), 2e6, 1.0, 0.05, 0.02, energy=1.0, energy_warning=0.9, flat_force=0)
DAMPING = StiffnessMass(0.6, 0.0)
TIME = np.arange(301) * 0.01
RECORD = Record(4.0 * np.sin(11.0 * TIME) * np.sin(np.pi * TIME / 3.0) ** 2, 0.01, "pulse", synthetic=True)


def braced(law):
    """Two invented storeys with braces; the lower one is tested."""
    frame = Frame("invented braced frame")
    column = BeamColumn.from_section(european("HE 200 B"))
    beam = BeamColumn.from_section(european("IPE 300"))
    for level in range(3):
        for axis, x in (("A", 0.0), ("B", 5.0)):
            frame.node(f"{axis}{level}", x, 3.5 * level, support=None if level else "fixed")
            if level:
                frame.mass(f"{axis}{level}", 30e3)
                frame.member(f"column {axis}{level}", f"{axis}{level - 1}", f"{axis}{level}", column)
        if level:
            frame.member(f"beam {level}", f"A{level}", f"B{level}", beam)
            own = law if level == 1 else ASSUMED
            frame.member(f"brace {level}", f"A{level - 1}", f"B{level}", Brace(own), device=True)
            frame.floor(f"floor {level}", [f"A{level}", f"B{level}"])
    return frame


def prepared(law, time_scale=50.0):
    """Split, its specimen along the brace, and a solver of the computed part."""
    parts = split(braced(law), ["brace 1"])
    run = {"ux": 5.0, "uy": 3.5}
    along = np.array([[run[component] for _, component in parts.interface]]) / np.hypot(5.0, 3.5)
    specimen = FrameSpecimen.of(parts, None, along)
    declared = specimen.declared(margin=0.1)
    return specimen, FrameSolver(
        parts, along, declared, OperatorSplitting(), RECORD, damping=DAMPING, time_scale=time_scale
    )


def roof(response):
    return {"roof": signals_of(response)["floor 2 displacement"]}


def computed(law):
    specimen, solver = prepared(law)
    while solver.step < solver.steps:
        solver.correct(specimen.apply(Command(solver.step + 1, solver.predict(), 1.0)).force)
    return roof(solver.response())


def reduced(law):
    return roof(time_history(split(braced(law), ["brace 1"]).joined_system, RECORD, damping=DAMPING))


def reference(law):
    return roof(time_history(braced(law).compile(), RECORD, damping=DAMPING))


def rehearsed(time_scale):
    """Virtual test of the real brace on a rig with lag and noise, and the response of the computed part."""
    _, solver = prepared(REAL, time_scale)
    run = virtual_test(solver, Rig(REAL, sensors=Sensors.typical(), seed=3), LIMITS)
    assert run.completed
    return run, solver.response()


@pytest.fixture(scope="module")
def tested():
    return rehearsed(50.0)


def divided(run, response):
    """The brace's law fitted again, and the outcome of the whole chain."""
    loop = from_arrays("brace 1", run.displacement[:, 0], run.force[:, 0])
    effort = Effort(population=4, generations=6, starts=1, iterations=30)
    refit = refit_devices(braced(ASSUMED), {"brace 1": loop}, effort=effort, profile="none", progress=False)
    found = refit.laws["brace 1"]
    outcome = after_test(
        roof(response),
        computed=computed,
        reduced=reduced,
        reference=reference,
        assumed=ASSUMED,
        refitted=found,
    )
    return found, outcome


def test_a_wrong_law_is_found_as_the_error(tested):
    """On a slow rig the law has most of the error, an exact cut none, and refitting takes the law's part away."""
    found, outcome = divided(*tested)
    assert found.Fy == pytest.approx(REAL.Fy, rel=0.03) and found.k == pytest.approx(REAL.k, rel=0.05)
    division = outcome.divisions["roof"]
    assert division["reduction"].part == pytest.approx(0.0, abs=1e-6)
    assert division["law"].part > 0.6 * division.total
    assert division["rig"].distance < 0.2 * division.total
    row = outcome.before_and_after()[0]
    assert row["error after"] < 0.4 * row["error before"]


def test_a_late_rig_is_found_as_the_error():
    """At real time the lag of the rig, which nothing compensates, has most of the error."""
    _, outcome = divided(*rehearsed(1.0))
    division = outcome.divisions["roof"]
    assert max(division.parts, key=lambda part: part.part).name == "rig"
    assert division["rig"].share > 0.5


def test_a_perfect_rig_has_no_part():
    """With the specimen computed as it is, the all-computed run is the test."""
    outcome = after_test(
        computed(REAL),
        computed=computed,
        reduced=reduced,
        reference=reference,
        assumed=ASSUMED,
        refitted=REAL,
    )
    assert outcome.divisions["roof"]["rig"].distance == pytest.approx(0.0, abs=1e-12)
    assert outcome.divisions["roof"]["law"].part > 0.0


def test_a_specimen_led_by_the_achieved_motion_gives_its_channels(tested):
    """The tested part led through the measured displacements feels the measured forces, through its channels as well."""
    run, _ = tested
    specimen, _ = prepared(REAL)
    led = follow_specimen(specimen, run.displacement)
    channels = [
        Channel("F", "force", "b", "kN", noise=0.2),
        Channel("E", "elongation", "b", "mm", noise=0.01),
    ]
    sensors = sensor_map(specimen.system.frame, [Bar("b", "brace 1")], channels)
    readings = synchronise(sensors, virtual_recordings(sensors, led, 2))
    force = reduce(sensors, readings)["b force"]
    assert np.sqrt(np.mean((force.value[1:] - run.force[:, 0]) ** 2)) < 0.02 * np.ptp(run.force)
    assert np.mean(np.abs(force.value - led.device("brace 1").force) < 2.0 * force.sigma) > 0.9
    with pytest.raises(InputError, match=r"allowed: \(steps, 1\)"):
        follow_specimen(specimen, np.zeros((5, 2)))


def test_laws_by_name_make_the_same_frame():
    """`with_laws` gives the frame that would have been built with the other law."""
    a, b = (frame.compile().rest() for frame in (braced(REAL), with_laws(braced(ASSUMED), {"brace 1": REAL})))
    assert np.array_equal(a.motion.m0, b.motion.m0)
    assert with_laws(braced(ASSUMED), {"brace 1": REAL}).members["brace 1"] == braced(REAL).members["brace 1"]
