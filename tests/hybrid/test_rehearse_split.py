"""A rehearsal of a divided frame in one call: what is scattered, what comes out, and the line that shows it running."""

import io
from dataclasses import replace

import numpy as np
import pytest

from frame2d.analysis import Modal, Rayleigh, StiffnessMass, gravity
from frame2d.demo import laboratory
from frame2d.elements import BeamColumn, Brace
from frame2d.errors import InputError
from frame2d.hybrid import Actuator, Controller, FrameSpecimen, Limits, Rig, Sensors, condensed_network
from frame2d.hybrid.actuator import loop_lag
from frame2d.hybrid.network import Model
from frame2d.hybrid.rehearse_split import lags_of, rehearse_split
from frame2d.hybrid.run_line import RunLine
from frame2d.hybrid.scatter import Spreads, stronger
from frame2d.hybrid.virtual import UNCOVERED
from frame2d.materials import Bilinear, Elastic, ViscousDamper, registered
from frame2d.materials.drive import drive
from frame2d.model import Frame
from frame2d.motions.record import Record
from frame2d.sections import european
from frame2d.substructure import split

T = np.arange(121) * 0.005
PULSE = Record(3.0 * np.sin(9.0 * T) * np.sin(np.pi * T / T[-1]), 0.005, "invented pulse", synthetic=True)
LIMITS = Limits((-0.1, 0.1), 4e5, 0.1, 0.02, 0.004, energy=0.5, energy_warning=0.4, flat_force=0)
ALONG = np.array([[6.0, 3.6]]) / np.hypot(6.0, 3.6)
#: Laws that have no strength, and laws of two sides or more whose first yield is not one number.
WITHOUT = {"Elastic", "Contact", "ViscousDamper", "PowerDamper", "MaxwellDamper"}


def braced():
    """Two storeys, one bay, pinned beams, a yielding brace in each storey; invented."""
    frame = Frame("two braced storeys, invented")
    column = BeamColumn.from_section(european("HE 260 B"), geometry="p-delta")
    beam = BeamColumn.from_section(european("IPE 360"), start="pinned", end="pinned")
    for level in range(3):
        for axis, x in (("A", 0.0), ("B", 6.0)):
            frame.node(
                f"{axis}{level}",
                x,
                3.6 * level,
                support=None if level else "fixed",
                mass=2e4 if level else 0.0,
            )
            if level:
                frame.load(f"{axis}{level}", fy=-2e5)
                frame.member(f"column {axis}{level}", f"{axis}{level - 1}", f"{axis}{level}", column)
        if level:
            frame.member(f"beam {level}", f"A{level}", f"B{level}", beam)
            law = Bilinear(k=8e7, Fy=9e4, b=0.03)
            frame.member(f"brace {level}", f"A{level - 1}", f"B{level}", Brace(law), device=True)
            frame.floor(f"floor {level}", [f"A{level}", f"B{level}"])
    return frame


@pytest.fixture(scope="module")
def parts():
    return split(braced(), ["brace 1"])


@pytest.fixture(scope="module")
def rig(parts):
    network = condensed_network(FrameSpecimen.of(parts, gravity(parts.whole_system).state, ALONG))
    return Rig(network, Actuator(), Controller(kp=600.0, kdp=5e-8, delay=0.003), Sensors.typical())


def test_one_call_rehearses_a_frame_of_ones_own(parts, rig):
    """Split, rows, record, rig and limits are enough: chances, capacities, errors, a time scale with its margin."""
    found = rehearse_split(
        parts, PULSE, rig, LIMITS, along=ALONG, damping=Rayleigh(0.03), runs=3, time_scale=20.0
    )
    assert all(run.completed for run in found.runs) and found.time_scale == 20.0 and found.step == 0.005
    assert np.isfinite(found.nrmse).all() and found.nrmse.max() < 0.1
    assert found.stability is not None and found.stability.enough
    largest = [float(np.abs(run.force).max()) for run in found.runs]
    strengths = [Spreads().draw(seed, rig.controller).strength for seed in range(3)]
    assert np.argsort(largest).tolist() == np.argsort(strengths).tolist() and min(largest) > 0.8 * 9e4
    told = found.plain()
    assert told["runs"] == 3 and told["not_rehearsed"] == list(UNCOVERED)
    assert "energy error" in told["capacities"] and "flat line" in told["chances"]
    # Without scatter, noise and lag to speak of, the test is what the frame does.
    exact = replace(rig.controller, delay=0.0)
    lag = loop_lag(Actuator(), exact, 8e7)
    still = Rig(rig.network, Actuator(), replace(exact, kff=exact.kp * lag), Sensors())
    alone = rehearse_split(
        parts, PULSE, still, LIMITS, along=ALONG, damping=Rayleigh(0.03), runs=1, time_scale=200.0, dt=0.001,
        spreads=Spreads((1.0, 1.0), (0.0, 0.0), (1.0, 1.0)),
    )  # fmt: skip
    assert alone.nrmse.max() < 1e-3 < 3e-3 < found.nrmse.min()


def test_runs_follow_from_their_seeds(parts, rig):
    """Run i of a rehearsal from seed s is run s + i, whatever the threads; other seeds are other rigs."""
    options = {"along": ALONG, "time_scale": 10.0, "damping": StiffnessMass(0.4, 0.0)}
    first = rehearse_split(parts, PULSE, rig, LIMITS, runs=3, seed=4, threads=2, **options)
    second = rehearse_split(parts, PULSE, rig, LIMITS, runs=1, seed=6, threads=1, **options)
    assert np.array_equal(first.runs[2].force, second.runs[0].force)
    assert not np.array_equal(first.runs[0].force, first.runs[1].force)
    assert [run.seed for run in first.runs] == [4, 5, 6]


def test_a_cut_that_releases_freedoms_is_rehearsed_from_its_joined_parts():
    """With hinges at the cut the test starts in balance: at rest without a motion it stays where it is."""
    frame = braced()
    parts = split(frame, ["column A1", "brace 1"], [("A1", "ux"), ("B1", "uy")])
    assert parts.released
    rig = Rig(condensed_network(FrameSpecimen.of(parts)), controller=Controller(kp=400.0))
    quiet = Record(1e-9 * np.sin(9.0 * T), 0.005, "nearly nothing", synthetic=True)
    found = rehearse_split(parts, quiet, rig, LIMITS, runs=1, spreads=Spreads((1.0, 1.0)), time_scale=50.0)
    assert found.runs[0].completed and np.abs(found.runs[0].target).max() < 1e-6


def test_what_cannot_be_rehearsed_is_refused(parts, rig):
    """Rows that do not fit the rig, a damping without shares, no law to scatter, no runs, ranges the wrong way round."""
    with pytest.raises(InputError, match="2, as many as the split imposes"):
        rehearse_split(parts, PULSE, rig, LIMITS)
    with pytest.raises(InputError, match="Modal, which has no share"):
        rehearse_split(parts, PULSE, rig, LIMITS, along=ALONG, damping=Modal())
    elastic = Rig(Elastic(8e7), controller=rig.controller)
    with pytest.raises(InputError, match="laws: Elastic"):
        rehearse_split(parts, PULSE, elastic, LIMITS, along=ALONG, runs=1)
    with pytest.raises(InputError, match="runs is 0"):
        rehearse_split(parts, PULSE, rig, LIMITS, along=ALONG, runs=0)
    for wrong in ({"strength": (1.2, 0.8)}, {"noise": (0.0, 1.0)}, {"delay": (2.0, 8.0)}):
        with pytest.raises(InputError, match="Spreads"):
            Spreads(**wrong)


@pytest.mark.parametrize("name", sorted(registered()))
def test_a_stronger_law_keeps_its_stiffness(name):
    """Every listed law: the first branch is as it was, and what yields carries as much more as it was made stronger."""
    law = registered()[name].example()
    made = stronger(law, 1.2)
    assert made.initial_memory().size == law.initial_memory().size
    if name in WITHOUT:
        assert made == law
        return
    assert made != law and made.stiffness == pytest.approx(law.stiffness)
    reach = 0.002 if name in ("Slack", "BucklingBrace") else 0.0
    small = np.linspace(0.0, reach + 1e-5, 40)
    far = np.linspace(0.0, 0.05, 400)
    before, after = (drive(one, small).force for one in (law, made))
    assert after == pytest.approx(before, rel=2e-2, abs=1e-6 * law.stiffness * 1e-5)
    assert 1.05 < np.abs(drive(made, far).force).max() / np.abs(drive(law, far).force).max() < 1.21


def test_the_scattered_specimen_has_its_channels_at_zero():
    """A network with linear members and a damaged law inside is stronger beyond yield, as stiff, and zero at the start."""
    network = laboratory.demo_rig().network
    for strength in (0.8, 1.2):
        made = Spreads().network(network, strength)
        assert np.abs(Model(made).at_zero()).max() < 1e-6
        assert made.stiffness == pytest.approx(network.stiffness)
    assert Spreads().network(network, 1.0) is network
    own = Spreads(stronger=lambda law, factor: replace(law, k=factor * law.k))
    assert own.network(Rig(Elastic(1e7)).network, 1.5).stiffness == pytest.approx(1.5e7)
    with pytest.raises(InputError, match="laws: ViscousDamper"):
        Spreads().network(Rig(ViscousDamper(c=1e5)).network, 1.2)


def test_lags_span_what_delay_and_stiffness_allow(parts, rig):
    """Expected: own delay, stiffest specimen; the ends: smallest and largest delay, specimen from none to the stiffest."""
    declared = FrameSpecimen.of(parts, None, ALONG).declared(0.1)
    stiff = float(declared.credible[0, 0])
    low, expected, high = lags_of(rig, declared, Spreads().delays(rig.controller))
    assert expected == pytest.approx(loop_lag(Actuator(), rig.controller, stiff))
    assert high == pytest.approx(expected + 0.003) and low == pytest.approx(
        loop_lag(Actuator(), rig.controller, 0.0) - 0.0015
    )


def run_with(hit):
    """A run of which only its hits are looked at."""

    class Run:
        completed = hit.get("breakdown", -1) < 0

    made = Run()
    made.hit = {name: step for name, step in hit.items() if name != "breakdown"}
    return made


def test_the_line_says_run_of_runs_limits_hit_and_time_left():
    """'run k of n', the limits hit so far with their counts, the time left; silent if it is not to be shown."""
    sink = io.StringIO()
    with RunLine(3, sink) as line:
        for hit in (
            {"force": 12, "tracking": -1},
            {"force": -1, "tracking": 4, "breakdown": 1},
            {"force": 3},
        ):
            line(run_with(hit))
        line._bar.refresh()
    assert "run 0 of 3; limits hit so far: none" in sink.getvalue()
    assert "run 3 of 3; limits hit so far: breakdown 1, force 2, tracking 1; 00:00 left" in sink.getvalue()
    assert line.done == 3
    quiet = RunLine(2, shown=False)
    quiet(run_with({"force": 1}))
    assert quiet.text == "limits hit so far: force 1"


def test_a_rehearsal_shows_its_line(parts, rig, capsys):
    """Asked to, a rehearsal shows the line while it runs; otherwise it prints nothing."""
    options = {"along": ALONG, "time_scale": 5.0, "runs": 2}
    rehearse_split(parts, PULSE, rig, LIMITS, **options)
    assert capsys.readouterr().err == ""
    rehearse_split(parts, PULSE, rig, LIMITS, progress=True, **options)
    assert "run 0 of 2; limits hit so far: none" in capsys.readouterr().err
