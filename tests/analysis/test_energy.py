"""Energy accounts: supports by their own name, laws with their definitions, members' damping, chains with released energy."""

from types import SimpleNamespace

import numpy as np
import pytest

from frame2d import BeamColumn, Frame, Link, Modal, Rayleigh, gravity, newmark, push, static, time_history
from frame2d.analysis.energy import chain
from frame2d.analysis.storage import load
from frame2d.materials import Bilinear, BoucWen, Elastic

DT = 0.005


def wave(peak=5.0, n=600):  # type: ignore[no-untyped-def]
    """Invented smooth ground motion, m/s²."""
    t = DT * np.arange(n)
    a = peak * np.sin(2 * np.pi * 1.3 * t) * np.sin(np.pi * t / t[-1]) ** 2
    return SimpleNamespace(acceleration=a, dt=DT, name="wave")


def tower(law):  # type: ignore[no-untyped-def]
    """Two storeys of links on a support, with a consistent-mass beam into the support."""
    frame = Frame("tower")
    frame.node("0", 0, 0, support="fixed")
    for k in (1, 2):
        frame.node(str(k), 0, 3.0 * k, support=("uy", "rz"), mass=1e4)
        frame.member(f"storey {k}", str(k - 1), str(k), Link(transverse=law, angle=np.pi / 2), device=True)
        frame.member(f"beam {k}", str(k - 1), str(k), BeamColumn(2e11, 1e-2, 1e-5, mass_per_length=300.0))
    return frame.compile()


def portal():  # type: ignore[no-untyped-def]
    """Portal with hinged beam under gravity."""
    frame = Frame("portal")
    law = BoucWen(k=3e7, Fy=1.2e5, a=0.01)
    for name, x, y in (("A", 0, 0), ("B", 0, 3.5), ("C", 6, 3.5), ("D", 6, 0)):
        frame.node(name, x, y, support=None if y else "fixed", mass=2e4 if y else 0.0)
    column = BeamColumn(2.1e11, 0.0149, 2.5e-4, geometry="p-delta")
    frame.member("AB", "A", "B", column)
    frame.member("DC", "D", "C", column)
    frame.member("BC", "B", "C", BeamColumn(2.1e11, 8e-3, 2e-4, start=law, end=law), device=True)
    for node in "BC":
        frame.load(node, fy=-2e5)
    frame.floor("roof", ["B", "C"])
    return frame.compile()


@pytest.mark.parametrize("law", [Elastic(2e6), BoucWen(k=4e6, Fy=2e4, a=0.05)], ids=["elastic", "yielding"])
def test_moved_supports_do_work_by_their_own_name(law):
    """The account of a frame whose support is moved closes at second order; all input is the support's."""
    system, found = tower(law), []
    for pieces in (1, 2):
        dt = DT / pieces
        t = dt * np.arange(600 * pieces)
        moved = 0.03 * np.sin(2 * np.pi * 1.5 * t) * np.sin(np.pi * t / t[-1]) ** 2
        response = time_history(system, dt=dt, support_motion={("0", "ux"): moved})
        energies = response.energies()
        assert np.array_equal(energies["input"], energies["support"])
        assert np.abs(energies["support"]).max() > 10.0
        found.append(response.imbalance())
    assert found[1] < 1e-5 or found[0] / found[1] > 2.5
    assert found[1] < 2e-3


def test_a_settlement_is_paid_by_the_support():
    """Settling a support of a linear portal does exactly the work that the members store."""
    frame = Frame("portal")
    for name, x, y in (("A", 0, 0), ("B", 0, 3), ("C", 5, 3), ("D", 5, 0)):
        frame.node(name, x, y, support=None if y else "fixed")
    for i, j in ("AB", "BC", "CD"):
        frame.member(i + j, i, j, BeamColumn(2e11, 1e-2, 1e-4))
    response = static(frame.compile(), cases={}, settlements={("D", "uy"): -0.01})
    energies = response.energies()
    assert energies["support"][-1] == pytest.approx(energies["members"][-1], rel=1e-9)
    assert energies["support"][-1] > 1.0 and response.imbalance() < 1e-9


def test_statics_keep_an_account_too():
    """Gravity and a push in small steps are paid by the loads that did them."""
    system = portal()
    begin = gravity(system, steps=20)
    assert begin.energies()["applied"][-1] > 0.0 and begin.imbalance() < 1e-3
    led = push(system, begin.state, node="B", target=0.08, steps=200)
    assert led.energies()["dissipated"][-1] > 0.0 and led.imbalance() < 1e-3


def test_recoverable_and_dissipated_are_split_by_law_and_defined():
    """Every law tells its work, what it could return and what is lost, and in words what it calls recoverable."""
    system = portal()
    response = time_history(system, wave(8.0), gravity(system).state)
    table = response.law_energies()
    assert [one.name for one in table] == response.laws()
    energies = response.energies()
    for one in table:
        assert one.work[-1] == pytest.approx(
            one.dissipated[-1] + one.recoverable[-1] - one.recoverable[0], rel=1e-12
        )
        assert one.dissipated[-1] > 0.0 and one.definition == BoucWen.recoverable
    lost = sum(one.dissipated[-1] for one in table)
    assert energies["dissipated"][-1] == pytest.approx(
        lost, rel=0.02
    )  # second-order columns lose next to nothing
    text = response.energy_text()
    assert BoucWen.recoverable in text and "ground" in text and "imbalance" in text


def test_damping_is_shared_by_members_and_masses():
    """Shares of Rayleigh damping add up to what the scheme damped; modal damping has no members."""
    system = portal()
    begin = gravity(system).state
    response = time_history(system, wave(), begin, damping=Rayleigh(0.03, (1, 2)), scheme=newmark())
    shares = response.damping_by_member()
    assert set(shares) == {"AB", "DC", "BC", "mass"}
    assert sum(shares.values())[-1] == pytest.approx(response.energies()["damped"][-1], rel=1e-9)
    assert all(values[-1] > 0.0 for values in shares.values())
    other = time_history(system, wave(), begin, damping=Modal((0.03,)))
    assert set(other.damping_by_member()) == {"modes"}


def test_a_chain_of_analyses_shows_what_left_with_removed_devices(tmp_path):
    """Over an earthquake, a replacement and another earthquake the account closes, released energy by its name."""
    system = portal()
    begin = gravity(system).state
    first = time_history(system, wave(12.0), begin, damping=Rayleigh(0.03, (1, 2)))
    fresh = system.replace_devices(first.state, ["BC"])
    assert fresh.released > 0.0
    settled = static(system, fresh, cases={}, steps=20)
    second = time_history(system, wave(12.0), settled.state, damping=Rayleigh(0.03, (1, 2)))
    table = chain([first, settled, second])
    assert table["released"][0] == 0.0
    assert table["released"][-1] == pytest.approx(fresh.released, rel=1e-12)
    split = table["dissipated"] + table["released"] + table["recoverable"] - table["recoverable"][0]
    assert np.allclose(split, table["devices"], rtol=1e-12, atol=1e-9)
    assert np.abs(table["imbalance"]).max() < 2e-3 * np.abs(table["input"]).max()
    assert np.all(np.diff(table["time"]) >= 0.0)
    second.save(tmp_path / "second.h5")
    again = load(tmp_path / "second.h5")
    for name, values in second.energies().items():
        assert np.array_equal(values, again.energies()[name]), name
    for name, values in second.damping_by_member().items():
        assert np.array_equal(values, again.damping_by_member()[name])
    assert Bilinear.recoverable  # every law has a definition
