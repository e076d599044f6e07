"""Partitioned integration of linear parts against the monolithic schemes and the exact solution."""

from collections.abc import Callable
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.linalg import expm

from benchmarks.checks.building import shear_building
from frame2d import (
    BeamColumn,
    Frame,
    InputError,
    Rayleigh,
    chung_hulbert,
    hilber,
    newmark,
    time_history,
    wood,
)
from frame2d.analysis import StiffnessMass, central_difference, chang, first_order_alpha, kolay_ricles
from frame2d.substructure import (
    Coupled,
    FramePart,
    GravouilCombescure,
    MatrixPart,
    PegonMagonette,
    PrakashHjelmstad,
    condense,
    coupled_history,
    parts_of,
    split,
    tie,
)

DT, STEPS = 0.01, 60
SCHEMES = [newmark(), hilber(-0.1), wood(0.7), chung_hulbert(0.5), first_order_alpha(0.6)]
DAMPING = Rayleigh(0.03, (1, 2))


def storeys() -> Frame:
    """Two storeys, two bays; masses in translation alone, so that every rotation is massless."""
    frame = Frame("two storeys")
    column, beam = BeamColumn(E=210e9, A=1e-2, I=2e-4), BeamColumn(E=210e9, A=8e-3, I=1.5e-4, shear_area=3e-3)
    for level in range(3):
        for axis in range(3):
            frame.node(f"{axis}{level}", 6.0 * axis, 3.5 * level, mass=8e3 if level else 0.0)
            if level:
                frame.member(f"column {axis}{level}", f"{axis}{level - 1}", f"{axis}{level}", column)
            else:
                frame.support(f"{axis}0", "fixed")
        if level:
            for axis in range(2):
                frame.member(f"beam {axis}{level}", f"{axis}{level}", f"{axis + 1}{level}", beam)
    return frame


TESTED = ["column 01", "beam 01"]


def record(dt: float = DT) -> SimpleNamespace:
    """A record with a smooth swell and seeded noise upon it."""
    t = dt * np.arange(round(STEPS * DT / dt) + 1)
    noise = np.random.default_rng(4).normal(size=t.size)
    return SimpleNamespace(acceleration=3.0 * np.sin(9.0 * t) * np.sin(5.0 * t) ** 2 + 0.5 * noise, dt=dt)


def difference(coupled: Coupled, cut: object, whole: object, every: int = 1) -> float:
    """Largest difference of any free displacement of any part, over the peak of the whole."""
    peak = np.abs(whole.log.q).max()
    worst = 0.0
    for part in ("computed", "tested"):
        q = coupled.responses[part].log.q
        wanted = whole.log.q @ cut.expand(part).T.toarray()
        worst = max(worst, float(np.abs(q - wanted[:: len(wanted) // (len(q) - 1)][: len(q)]).max()))
    return worst / peak


@pytest.mark.parametrize("method", [GravouilCombescure(), PrakashHjelmstad()], ids=lambda m: m.name)
@pytest.mark.parametrize("scheme", SCHEMES, ids=lambda s: s.name)
def test_equal_parts_are_the_monolithic_scheme(scheme: object, method: object) -> None:
    """With one scheme and step in both parts, the coupling equals the unsplit frame to 1e-10 of the peak; masses that
    one part has alone and massless rotations included."""
    cut = split(storeys(), TESTED)
    whole = time_history(cut.whole_system, record(), scheme=scheme, damping=DAMPING)
    parts = parts_of(cut, DT, scheme=scheme, damping=DAMPING, record=record())
    coupled = coupled_history(parts, STEPS * DT, method=method)
    assert difference(coupled, cut, whole) < 1e-10
    assert coupled.gap() < 1e-10 * np.abs(whole.log.q).max()
    assert coupled.evaluations.max() <= 2 + 2 * len(cut.interface)
    assert coupled.responses["tested"].imbalance() < 1e-10


@pytest.mark.parametrize("method", [GravouilCombescure(), PrakashHjelmstad()], ids=lambda m: m.name)
def test_three_parts_are_the_monolithic_scheme(method: object) -> None:
    """Three parts that meet at one node, tied without repetition, equal the unsplit frame too."""
    first = split(storeys(), TESTED, tested_share={"01": 0.4})
    second = split(first.computed, ["beam 11", "column 11"], tested_share={"11": 0.7})
    systems = {
        "rest": second.computed_system,
        "middle": second.tested_system,
        "corner": first.tested_system,
    }
    rows = tie(systems)
    scheme, damping = chung_hulbert(0.8), StiffnessMass(0.4, 1e-3)
    parts = [
        FramePart(name, system, rows[name], DT, scheme, damping, record=record())
        for name, system in systems.items()
    ]
    coupled = coupled_history(parts, STEPS * DT, method=method)
    whole = time_history(first.whole_system, record(), scheme=scheme, damping=damping)
    for name, node in (("rest", "22"), ("middle", "11"), ("corner", "11"), ("corner", "01")):
        for component in ("ux", "uy", "rz"):
            wanted = whole.displacement(node, component)
            found = coupled.responses[name].displacement(node, component)
            assert np.abs(found - wanted).max() < 1e-10 * np.abs(whole.log.q).max()


@pytest.mark.parametrize("fine", ["computed", "tested"])
@pytest.mark.parametrize("ratio", [2, 5])
def test_sign_of_the_interface_energy(fine: str, ratio: int) -> None:
    """Sub-cycling, the interface never gives energy by Gravouil & Combescure and none at all by Prakash & Hjelmstad,
    to rounding, whichever part is finer and whatever its parameters."""
    cut = split(storeys(), TESTED, tested_share={"01": 0.5, "11": 0.3})
    dt = {part: DT / ratio if part == fine else DT for part in ("computed", "tested")}
    scheme = {"computed": newmark(), "tested": newmark(0.6, 0.31)}
    parts = parts_of(cut, dt, scheme=scheme, damping=DAMPING, record=record())
    found = coupled_history(parts, STEPS * DT, method=GravouilCombescure())
    scale = np.abs(np.diff(found.multipliers, axis=0)).max() * np.abs(found.responses[fine].log.v).max() / DT
    assert np.diff(found.interface_energy).max() < 1e-9 * scale
    assert found.interface_energy[-1] < -1e-5 * scale
    kept = coupled_history(parts, STEPS * DT, method=PrakashHjelmstad())
    assert np.abs(kept.interface_energy).max() < 1e-9 * scale
    assert np.abs(kept.velocity_gap).max() < 1e-9 * np.abs(kept.responses["computed"].log.v).max()


@pytest.mark.parametrize(
    "method", [GravouilCombescure(), PrakashHjelmstad(), PegonMagonette()], ids=lambda m: m.name
)
def test_three_parts_with_three_steps(method: object) -> None:
    """A mass on three springs in parts with steps 1 : 2 : 4 moves as the exact oscillator, with velocities tied at the
    common instants and the interface energy of its method."""
    rows = np.array([[1.0, -1.0, 0.0], [0.0, 1.0, -1.0]])
    one = np.ones((1, 1))
    parts = [
        MatrixPart(name, mass * one, 0.0 * one, k * one, rows[:, [n]], dt, newmark(), v0=np.array([0.1]))
        for n, (name, mass, k, dt) in enumerate(
            [("slow", 500.0, 1e4, 4e-3), ("middle", 300.0, 1e4, 2e-3), ("quick", 200.0, 1e4, 1e-3)]
        )
    ]
    coupled = coupled_history(parts, 0.4, method=method)
    omega = np.sqrt(30.0)
    for name, history in coupled.responses.items():
        error = np.abs(history.u[:, 0] - 0.1 / omega * np.sin(omega * history.time)).max()
        assert error < 0.01 * 0.1 / omega, name
    assert np.abs(coupled.velocity_gap).max() < 1e-13
    if isinstance(method, GravouilCombescure):
        assert np.diff(coupled.interface_energy).max() < 1e-12
    if isinstance(method, PrakashHjelmstad):
        assert np.abs(coupled.interface_energy).max() < 1e-11


def oscillator(dt: float, ratio: int, method: object, scheme: object = None) -> float:
    """Error of the undamped oscillator whose mass and spring are split, against the exact motion."""
    one, start = np.ones((1, 1)), {"u0": np.array([0.01]), "v0": np.array([0.1])}
    scheme = scheme or newmark()
    parts = [
        MatrixPart("A", 600.0 * one, 0.0 * one, 2e4 * one, one, ratio * dt, scheme, **start),
        MatrixPart("B", 400.0 * one, 0.0 * one, 1e4 * one, -one, dt, scheme, **start),
    ]
    coupled = coupled_history(parts, 0.48, method=method)
    history, omega = coupled.responses["A"], np.sqrt(30.0)
    exact = 0.01 * np.cos(omega * history.time) + 0.1 / omega * np.sin(omega * history.time)
    return float(np.abs(history.u[:, 0] - exact).max())


@pytest.mark.parametrize(
    ("method", "ratio", "order"),
    [
        (GravouilCombescure(), 1, 2.0),
        (PrakashHjelmstad(), 1, 2.0),
        (PegonMagonette(), 1, 2.0),
        (GravouilCombescure(), 4, 1.0),
        (PrakashHjelmstad(), 4, 2.0),
        (PegonMagonette(), 4, 1.0),
    ],
    ids=lambda value: getattr(value, "name", str(value)),
)
@pytest.mark.parametrize(
    "scheme", [newmark(), chung_hulbert(0.8), first_order_alpha(0.8)], ids=lambda s: s.name
)
def test_measured_order(method: object, ratio: int, order: float, scheme: object) -> None:
    """Errors fall with the second power of the step without sub-cycling; with it, with the first by Gravouil &
    Combescure and Pegon & Magonette, and still with the second by Prakash & Hjelmstad."""
    first = 4e-3 if ratio == 1 else 1e-3
    errors = [oscillator(dt, ratio, method, scheme) for dt in (first, first / 2)]
    measured = np.log2(errors[0] / errors[1])
    assert measured == pytest.approx(order, abs=0.15)


def test_interface_energy_of_one_coarse_step() -> None:
    """By Gravouil & Combescure each coarse step loses −[ΣΔΛ·H·ΔΛ − (ΣΔΛ)·H·(ΣΔΛ)/m]/Δt, H of the coarse part."""
    one, dt, m = np.ones((1, 1)), 4e-3, 5
    parts = [
        MatrixPart("coarse", 600.0 * one, 0.0 * one, 2e4 * one, one, m * dt, newmark(), v0=np.array([0.1])),
        MatrixPart("fine", 400.0 * one, 0.0 * one, 1e4 * one, -one, dt, newmark(), v0=np.array([0.1])),
    ]
    found = coupled_history(parts, 40 * dt, method=GravouilCombescure())
    H = 0.5 * m * dt / (600.0 + 0.25 * (m * dt) ** 2 * 2e4)
    change = np.diff(found.multipliers[:, 0]).reshape(-1, m)
    lost = -H / dt * ((change**2).sum(1) - change.sum(1) ** 2 / m)
    energy = found.interface_energy[:: (len(found.interface_energy) - 1) // len(lost)]
    assert np.diff(energy) == pytest.approx(lost, rel=1e-7, abs=1e-9 * np.abs(lost).max())
    assert lost.max() < 0.0


def test_parallel_method_nears_the_whole_with_the_second_power() -> None:
    """On a frame with massless rotations the interfield-parallel method differs from the monolithic scheme by an
    amount that falls fourfold as the step is halved, whichever part goes ahead."""
    smooth = SimpleNamespace(acceleration=np.sin(9.0 * DT * np.arange(61)) ** 3, dt=DT)
    cut = split(storeys(), TESTED)
    for ahead in ("computed", "tested"):
        errors = []
        for dt in (DT / 2, DT / 4):
            whole = time_history(cut.whole_system, smooth, dt=dt, damping=DAMPING)
            parts = parts_of(cut, dt, damping=DAMPING, record=smooth)
            coupled = coupled_history(parts, 0.6, method=PegonMagonette((ahead,)))
            errors.append(difference(coupled, cut, whole))
        assert np.log2(errors[0] / errors[1]) == pytest.approx(2.0, abs=0.25)


def test_parts_keep_their_own_schemes() -> None:
    """Explicit and implicit parts of a shear building, each with its own step, stay near the exact motion."""
    masses, springs = [4000.0, 3000.0, 2000.0], [4e6, 3e6, 2e6]
    cut = split(shear_building(masses, springs), ["storey 3"], tested_share={"2": 0.5})
    start = {"computed": {("2", "ux"): 0.05}, "tested": {("2", "ux"): 0.05}}
    K = np.diag([7e6, 5e6, 2e6]) + np.diag([-3e6, -2e6], 1) + np.diag([-3e6, -2e6], -1)
    rate = np.block([[np.zeros((3, 3)), np.eye(3)], [-np.diag(1.0 / np.array(masses)) @ K, np.zeros((3, 3))]])
    exact = expm(rate * 0.2)[:3, 3:] @ [0.0, 0.05, 0.0]
    for scheme in (central_difference(), chang(), kolay_ricles(0.9), first_order_alpha(0.9)):
        parts = parts_of(
            cut, {"computed": 2e-3, "tested": 5e-4}, scheme={"computed": newmark(), "tested": scheme}
        )
        parts = [
            FramePart(p.name, p.system, p.interface, p.dt, p.scheme, initial_velocity=start[p.name])
            for p in parts
        ]
        coupled = coupled_history(parts, 0.2, method=PrakashHjelmstad())
        found = coupled.responses["tested"].displacement("3")[-1]
        assert found == pytest.approx(exact[2], abs=2e-2 * np.abs(exact).max())


@pytest.mark.parametrize(("method", "modes"), [("massless", 0), ("craig-bampton", 8)])
def test_exact_condensation_changes_nothing(method: str, modes: int) -> None:
    """Without damping on massless freedoms, static condensation and all modes kept give the motion of the whole."""
    cut = split(storeys(), TESTED)
    damping = StiffnessMass(0.4, 0.0)
    small = condense(cut.computed_system, cut.pick_computed, method=method, modes=modes, damping=damping)
    whole = time_history(cut.whole_system, record(), damping=damping)
    tested = parts_of(cut, DT, damping=damping, record=record())[1]
    coupled = coupled_history([small.part("computed", DT, STEPS, record=record()), tested], STEPS * DT)
    q = small.displacements(coupled.responses["computed"].u)
    wanted = whole.log.q @ cut.expand("computed").T.toarray()
    assert np.abs(q - wanted).max() < 1e-10 * np.abs(wanted).max()


def test_more_modes_come_nearer() -> None:
    """Craig-Bampton with more modes of the held computed part comes nearer to the whole; Guyan alone is far."""
    cut = split(storeys(), TESTED)
    damping = StiffnessMass(0.4, 0.0)
    smooth = SimpleNamespace(acceleration=np.sin(9.0 * DT * np.arange(61)) ** 3, dt=DT)
    whole = time_history(cut.whole_system, smooth, damping=damping)
    wanted = whole.log.q @ cut.expand("computed").T.toarray()
    tested = parts_of(cut, DT, damping=damping, record=smooth)[1]
    errors = []
    for method, modes in (("guyan", 0), ("craig-bampton", 1), ("craig-bampton", 3)):
        small = condense(cut.computed_system, cut.pick_computed, method=method, modes=modes, damping=damping)
        coupled = coupled_history([small.part("computed", DT, STEPS, record=smooth), tested], STEPS * DT)
        q = small.displacements(coupled.responses["computed"].u)
        errors.append(np.abs(q - wanted).max() / np.abs(wanted).max())
    assert errors[0] > 10.0 * errors[1]
    assert 0.01 > errors[1] > errors[2]
    with pytest.raises(InputError, match="modes"):
        condense(cut.computed_system, cut.pick_computed, method="guyan", modes=2)


def refused(words: str, run: Callable[[], object]) -> None:
    with pytest.raises(InputError, match=words):
        run()


def test_parts_that_do_not_fit_are_refused() -> None:
    """Steps, durations, ties, starts and schemes that cannot be coupled: each error names the thing."""
    cut = split(storeys(), TESTED)
    parts = parts_of(cut, DT, record=record())
    one = np.ones((1, 1))

    def oscillators(**second: object) -> list[MatrixPart]:
        given = {"interface": -one, "dt": 0.01, **second}
        return [MatrixPart("A", one, one, one, one, 0.01), MatrixPart("B", one, one, one, **given)]

    refused("finest steps", lambda: coupled_history(oscillators(dt=0.015), 0.3))
    refused("multiples of", lambda: coupled_history(oscillators(dt=0.03), 0.1))
    refused("two or more with different names", lambda: coupled_history(parts[:1], 0.1))
    refused("tie rows", lambda: coupled_history(oscillators(interface=np.ones((2, 1))), 0.1))
    refused("velocity gap", lambda: coupled_history(oscillators(v0=np.ones(1)), 0.1))
    refused("displacement gap", lambda: coupled_history(oscillators(u0=np.ones(1)), 0.1))
    refused("allowed: two or more", lambda: coupled_history(oscillators(interface=0.0 * one), 0.1))
    refused("ties × 1", lambda: oscillators(interface=np.ones((1, 2))))
    refused("ahead", lambda: coupled_history(parts, 0.1, method=PegonMagonette(("roof",))))
    refused(
        "no mass at",
        lambda: coupled_history(parts_of(cut, DT, scheme={"computed": newmark(), "tested": chang()}), 0.1),
    )
