"""Replacing devices: stress-free at the deformed geometry, re-centring of the elastic rest, log and misfit."""

import numpy as np
import pytest

from frame2d.analysis import gravity, push
from frame2d.campaign import replace_devices, residual_drifts, rest
from frame2d.campaign.states import load_state, save_state
from frame2d.campaign.transfer import displacements, member_forces, moved_to, without
from frame2d.elements import BeamColumn, Brace
from frame2d.errors import Frame2dError, InputError
from frame2d.materials import Bilinear
from frame2d.model import Frame


def portal(slender: bool = False, geometry: str = "p-delta") -> Frame:
    """Two-storey elastic portal with a yielding diagonal and a weakened link a storey as devices (invented)."""
    frame = Frame("portal (invented)")
    column = BeamColumn(210e9, 0.01, 4e-6 if slender else 1.2e-4, geometry=geometry)
    beam = BeamColumn(
        210e9, 0.01, 2e-4, start="pinned" if slender else "rigid", end="pinned" if slender else "rigid"
    )
    hinge = Bilinear(3e7, 60e3, 0.02)
    link = BeamColumn(210e9, 0.005, 6e-5, start=hinge, end=hinge, start_inset=0.2, end_inset=0.2)
    for level in range(3):
        for axis, x in (("A", 0.0), ("B", 6.0), ("C", 7.8)):
            node = frame.node(f"{axis}{level}", x, 3.5 * level, "fixed" if level == 0 else None)
            if level:
                frame.mass(node, 15e3)
                frame.load(node, fy=-150e3)
                frame.member(f"column {node}", f"{axis}{level - 1}", node, column)
        if level:
            frame.member(f"beam {level}", f"A{level}", f"B{level}", beam)
            frame.member(f"link {level}", f"B{level}", f"C{level}", link, device=True)
            diagonal = Brace(Bilinear(6e7, 120e3, 0.02), geometry=geometry)
            frame.member(f"diagonal {level}", f"A{level - 1}", f"B{level}", diagonal, device=True)
            frame.floor(f"floor {level}", [f"A{level}", f"B{level}", f"C{level}"])
    return frame


@pytest.fixture(scope="module")
def bent():
    """The portal after it was pushed far and let go."""
    system = portal().compile()
    standing = gravity(system).state
    pushed = push(system, standing, "uniform", node="A2", target=0.14, steps=60).state
    from dataclasses import replace

    free = replace(pushed, load=standing.load, cases=standing.cases)
    return system, standing, rest(system, free, 10).state


def test_the_elastic_frame_recentres_without_its_devices(bent):
    """With all devices out, the elastic rest returns to the drift that gravity alone leaves; new devices keep it."""
    system, _, state = bent
    devices = system.frame.devices()
    after, log = replace_devices(system, state, devices, groups=[devices])
    assert log.largest_before > 2e-3 and log.recentred
    assert log.largest_after < 0.02 * log.largest_before
    held = residual_drifts(system, after)
    assert held == log.drift_after
    assert np.isfinite(after.motion.q).all() and not after.motion.v.any()


@pytest.mark.parametrize("mode", ["released", "held"])
def test_new_devices_start_at_zero_force_whole_members_included(bent, mode):
    """A new device carries nothing where it is put in, neither in its laws nor in its elastic length."""
    system, _, state = bent
    devices = system.frame.devices()
    after, log = replace_devices(system, state, devices, groups=[devices], mode=mode)
    assert [swap.first_force for swap in log.swaps] == pytest.approx([0.0] * len(log.swaps), abs=1e-6)
    old = max(abs(swap.locked_in) for swap in log.swaps)
    assert max(log.fit_force.values()) < 1e-6 * old
    assert max(abs(swap.misfit) for swap in log.swaps) > 1e-5
    assert log.released > 0.0 and after.released == pytest.approx(state.released + log.released)
    assert after.replaced[-4:] == tuple(devices)
    if mode == "released":
        # Nothing moves any more: the rest of the frame was in balance before the devices came.
        assert max(abs(swap.last_force) for swap in log.swaps) < 1e-6 * old


def test_held_replacement_of_bars_is_that_of_the_system(bent):
    """While the frame is held, a bar is replaced as `System.replace_devices` does it, then let go."""
    system, _, state = bent
    names = ["diagonal 1", "diagonal 2"]
    ours, _ = replace_devices(system, state, names, groups=[names], mode="held")
    theirs = rest(system, system.replace_devices(rest(system, state).state, names), 4).state
    assert ours.motion.q == pytest.approx(theirs.motion.q, abs=1e-9)


def test_one_after_the_other_works_where_all_at_once_falls():
    """A frame that cannot stand without its devices says so, and takes them one after the other."""
    system = portal(slender=True).compile()
    standing = gravity(system).state
    devices = system.frame.devices()
    with pytest.raises(Frame2dError, match=r"(unstable|no equilibrium) without .*smaller groups"):
        replace_devices(system, standing, devices, groups=[devices])
    _, log = replace_devices(system, standing, devices)
    assert [swap.group for swap in log.swaps] == [1, 1, 2, 3, 3, 4]


def test_a_state_moves_to_the_frame_without_a_device_and_back(bent):
    """Displacements, memories and loads of what stays are the same on both systems."""
    system, _, state = bent
    opened = without(system.frame, ["link 1"]).compile()
    there = moved_to(system, state, opened)
    nodes = 3 * len(system.node_index)
    assert displacements(opened, there)[:nodes] == pytest.approx(
        displacements(system, state)[:nodes], abs=1e-15
    )
    for name in ("diagonal 2", "column A1", "link 2"):
        assert member_forces(opened, there, name) == pytest.approx(
            member_forces(system, state, name), rel=1e-9, abs=1e-3
        )


def test_bad_orders_are_refused(bent):
    """Unknown devices, unknown modes and groups that are not the devices are named."""
    system, _, state = bent
    with pytest.raises(InputError, match="device is 'link 9'"):
        replace_devices(system, state, ["link 9"])
    with pytest.raises(InputError, match="mode of replacement"):
        replace_devices(system, state, ["link 1"], mode="hold")
    with pytest.raises(InputError, match="groups hold"):
        replace_devices(system, state, ["link 1"], groups=[["link 2"]])


def test_a_push_that_still_holds_is_refused(bent):
    """Loads outside the load cases may not stand on the frame while devices are taken out."""
    system, standing, _ = bent
    pushed = push(system, standing, "uniform", node="A2", target=0.05, steps=20).state
    with pytest.raises(InputError, match="belong to no load case"):
        replace_devices(system, pushed, ["diagonal 1"])


def test_a_state_comes_back_bit_for_bit(bent, tmp_path):
    """What is written to disk is what is read."""
    _, _, state = bent
    save_state(state, tmp_path / "state.h5")
    back = load_state(tmp_path / "state.h5")
    for one, other in zip(back.motion, state.motion, strict=True):
        assert np.array_equal(one, other)
    assert np.array_equal(back.load, state.load) and back.cases == state.cases
    (tmp_path / "other.h5").write_bytes((tmp_path / "state.h5").read_bytes())
    import h5py

    with h5py.File(tmp_path / "other.h5", "a") as file:
        file.attrs["format"] = "else"
    with pytest.raises(InputError, match="format"):
        load_state(tmp_path / "other.h5")
