"""Simulated rig: closed forms of the actuator, imperfections, and repeatability."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import expm

from frame2d.errors import InputError
from frame2d.hybrid import Actuator, Command, Controller, Geometry, Model, Network, Pin, Rig, Sensors
from frame2d.hybrid.rig import DS, FORCE, P, S, V, X, advance
from frame2d.materials import Bilinear, Elastic

IDEAL = Actuator(friction=0.0)
SOFT = Elastic(1e3)


def go(rig, path, duration=0.25):
    return [
        rig.apply(Command(i + 1, np.atleast_1d(np.asarray(u, float)), duration)) for i, u in enumerate(path)
    ]


def test_the_plant_has_mechanical_and_hydraulic_closed_forms():
    """Stalled force A·p, no-load velocity K/A, and velocity under load by the square-root law."""
    a = Actuator()
    assert a.stalled_force == pytest.approx(0.0476 * 21e6)
    assert a.no_load_velocity == pytest.approx(250 / 60000 * np.sqrt(3.0) / 0.0476)
    assert a.velocity_at(0.75 * a.stalled_force) == pytest.approx(0.5 * a.no_load_velocity)


def test_full_opening_reaches_the_no_load_velocity():
    """A far command without load moves at K/A, within what friction and leakage take."""
    a = replace(IDEAL, leakage=0.0, viscous=0.0)
    rig = Rig(SOFT, a, Controller(kdp=0.0))
    go(rig, [0.2], 0.9)
    assert rig.arrays[0].state[0, V] == pytest.approx(a.no_load_velocity, rel=2e-3)
    assert rig.peaks.saturated[0] > 0


def test_a_blocked_piston_stalls_at_supply_times_area():
    """Against a very stiff specimen the force saturates at A·p and not above."""
    a = replace(IDEAL, leakage=0.0)
    rig = Rig(Elastic(2e9), a, Controller(kdp=0.0))
    go(rig, [0.2], 4.0)
    assert rig.arrays[0].state[0, FORCE] == pytest.approx(a.stalled_force, rel=0.01)


@pytest.mark.parametrize("stiffness", [1e3, 2e7])
@pytest.mark.parametrize("frequency", [2.0, 12.0, 30.0])
def test_small_motions_follow_the_third_order_transfer_function(stiffness, frequency):
    """Stroke over valve command of the compiled plant equals valve × valve-piston closed form (Merritt 1967)."""
    a = replace(IDEAL, leakage=2e-10, viscous=1e5)
    # With only a proportional gain of 1 per m and a large target the loop is a closed form too: G/(1 + G).
    rate = 8192.0
    gain = 20.0
    controller = Controller(rate=rate, kp=gain, kdp=0.0)
    rig = Rig(Elastic(stiffness), a, controller)
    cycles, amplitude = 24, 1e-6
    n = round(cycles * rate / frequency)
    t = np.arange(1, n + 1) / rate
    command = amplitude * np.sin(2.0 * np.pi * frequency * t)
    arrays, net, rng = rig.arrays
    # One controller step a command: the path is the sine itself.
    stroke = np.zeros(n)
    trace = np.zeros((1, 3))
    for i in range(n):
        assert advance(arrays, net, rng, command[i : i + 1], 1, 1, False, 1, trace) == 0
        stroke[i] = trace[0, 1]
    tail = slice(n - round(8 * rate / frequency), n)
    basis = np.column_stack([np.sin(2 * np.pi * frequency * t), np.cos(2 * np.pi * frequency * t)])[tail]
    s, c = np.linalg.lstsq(basis, stroke[tail], rcond=None)[0]
    measured = (s + 1j * c) / amplitude
    w = 2.0 * np.pi * frequency
    # The controller acts on the feedback of the step before and holds it for one: one and a half steps of delay.
    plant = a.transfer(np.array([w]), stiffness)[0] * a.valve_transfer(np.array([w]))[0]
    loop = gain * plant
    hold = np.exp(-0.5j * w / rate)
    expected = loop * np.exp(1j * w / rate) * hold / (1.0 + loop * hold)
    assert measured == pytest.approx(expected, rel=0.02, abs=2e-4)


@pytest.mark.parametrize("damping", [0.1, 0.8, 1.0, 1.0 + 1e-7, 1.3, 20.0])
def test_the_step_of_the_valve_is_the_exponential_of_its_matrix(damping):
    """Spool and rate after a step with a held command, under-, over- and critically damped."""
    w, h = 2.0 * np.pi * 100.0, 1.0 / 1024.0
    exact = expm(h * np.array([[0.0, 1.0], [-w * w, -2.0 * damping * w]]))
    size = np.array([[1.0, 1.0 / w], [w, 1.0]])
    assert np.abs((Actuator(valve_damping=damping).valve_step(h) - exact) / size).max() < 1e-13


def test_friction_sticks_and_takes_its_part():
    """A piston below break-away stays exactly where it is."""
    rig = Rig(SOFT, replace(IDEAL, friction=5e4, breakaway=1.0), Controller(kp=10.0, kdp=0.0))
    state = rig.arrays[0].state
    state[0, P] = 4.9e4 / IDEAL.area
    arrays, net, rng = rig.arrays
    advance(arrays, net, rng, np.zeros(1), 1, 1, False, 1, np.zeros((0, 3)))
    assert state[0, X] == 0.0 and state[0, V] == 0.0 and state[0, S] == 0.0 and state[0, DS] == 0.0


def test_a_delay_shifts_the_command_by_its_length():
    """The command reaches the controller later by the transport delay, fractions of a controller step included."""
    traces = []
    for delay in (0.0, 0.0205):
        rig = Rig(SOFT, IDEAL, Controller(delay=delay), trace=True)
        go(rig, [0.02], 1.0)
        traces.append(rig.last_trace[:, 0].copy())
    t = np.arange(1, 1025) / 1024
    assert np.interp(t[100:] - 0.0205, t, traces[0]) == pytest.approx(traces[1][100:], abs=1e-9)


def test_the_reaction_frame_deceives_the_built_in_transducer():
    """With built-in feedback the specimen lacks F/k of the reaction frame; an external transducer sees through it."""
    law, u = Elastic(2e7), 0.01
    a = replace(IDEAL, reaction_stiffness=2e8, leakage=0.0)
    outside, inside = (Rig(law, a, Controller(feedback=kind)) for kind in ("external", "built-in"))
    for rig in (outside, inside):
        go(rig, [u, u, u], 1.0)
    assert outside.arrays[0].state[0, X] == pytest.approx(u, abs=1e-6)
    assert inside.arrays[0].state[0, X] == pytest.approx(u / 1.1, abs=1e-5)
    assert inside.read().displacement[0] == pytest.approx(u, abs=1e-5)


def test_backlash_leaves_a_gap_without_force():
    """Reversing through a clearance of 2 mm the force stays zero for 2 mm of piston motion."""
    rig = Rig(Elastic(1e7), replace(IDEAL, backlash=2e-3), Controller(feedback="built-in"), trace=True)
    path = np.concatenate([np.linspace(0.0, 0.005, 25), np.linspace(0.005, -0.005, 50)])
    rows = []
    for i, u in enumerate(path):
        rig.apply(Command(i + 1, np.array([u]), 0.25))
        rows.append(rig.last_trace.copy())
    trace = np.concatenate(rows)
    x, force = trace[:, 1], trace[:, 2]
    free = np.abs(force) == 0.0
    assert np.ptp(x[free]) == pytest.approx(2e-3, abs=5e-5)
    assert force[np.argmin(x)] == pytest.approx(1e7 * (x.min() + 1e-3), rel=1e-6)


def test_sensors_are_noisy_coarse_and_drift_as_told():
    """Noise has its rms, readings sit on the grid, drift adds up, and the seed decides everything."""
    noise = Sensors(displacement_noise=1e-4, force_noise=50.0, force_step=10.0, force_drift=2.0)
    first, again, other = (Rig(Elastic(1e6), IDEAL, sensors=noise, seed=seed) for seed in (1, 1, 2))
    runs = [np.array([r.force for r in go(rig, np.zeros(300), 0.02)])[:, 0] for rig in (first, again, other)]
    assert np.array_equal(runs[0], runs[1]) and not np.array_equal(runs[0], runs[2])
    assert np.allclose(runs[0] % 10.0, 0.0)
    seconds = np.arange(300) * round(0.02 * 1024) / 1024
    slope, _ = np.polyfit(seconds, runs[0], 1)
    assert slope == pytest.approx(2.0, abs=8.0)
    assert 30.0 < runs[0].std() < 130.0


def test_ramp_and_hold_settles_on_the_target():
    """Ramp-and-hold reads at rest on the target; the readings are those of the specimen alone."""
    rig = Rig(
        Bilinear(k=2e7, Fy=2e5, b=0.03), replace(IDEAL, leakage=0.0), motion="ramp-and-hold", averaged=20
    )
    model = Model(Bilinear(k=2e7, Fy=2e5, b=0.03))
    path = [0.004, 0.012, 0.02, 0.01]
    for mine, exact in zip(go(rig, path, 2.0), go(model, path, 2.0), strict=True):
        assert mine.displacement == pytest.approx(exact.displacement, abs=2e-6)
        assert mine.force == pytest.approx(exact.force, rel=1e-3)


def test_three_actuators_hold_a_pose_with_large_motion():
    """Three inclined actuators bring a coupled specimen to a pose; force and motion are those of the specimen."""
    geometry = Geometry(
        [Pin((-2.0, 0.5), (-0.3, 0.5)), Pin((-2.0, -0.5), (-0.3, -0.5)), Pin((0.1, -3.0), (0.1, -0.4))],
        freedoms=("ux", "uy", "rz"),
    )
    network = Network(
        [(Elastic(2e6), [1, 0, 0]), (Elastic(3e6), [0, 1, 0.2]), (Elastic(1e6), [0, 0, 1])], freedoms=3
    )
    rig = Rig(network, replace(IDEAL, leakage=0.0), geometry=geometry, motion="ramp-and-hold")
    pose = np.array([0.05, 0.03, 0.08])
    reading = go(rig, [pose, pose], 3.0)[-1]
    assert reading.displacement == pytest.approx(pose, abs=2e-5)
    assert reading.force == pytest.approx(network.stiffness @ pose, rel=2e-3)


def test_impossible_rigs_are_refused():
    """Pressure in MPa, a count of actuators that does not fit, and backlash of coupled actuators are input errors."""
    with pytest.raises(InputError, match="MPa"):
        Actuator(supply=21.0)
    with pytest.raises(InputError, match="one an interface freedom"):
        Rig(SOFT, [Actuator(), Actuator()])
    two = Network([(SOFT, [1, 0]), (SOFT, [0, 1])], freedoms=2)
    with pytest.raises(InputError, match="backlash"):
        Rig(two, Actuator(backlash=1e-3))
