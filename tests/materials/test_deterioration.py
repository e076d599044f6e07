"""Laws that deteriorate by energy: backbone, rules and β by hand, energy for any history."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import InputError
from frame2d.materials import Law
from frame2d.materials.deterioration import (
    Backbone,
    DeterioratingBilinear,
    DeterioratingPeakOriented,
    DeterioratingPinching,
)
from frame2d.materials.drive import drive

# Invented round numbers: δy 0.01, cap at 0.04 with 1.15e5, softening 1e6, residual 0.3e5 from 0.125 on, end at 0.2.
SIDE = Backbone(Fy=1e5, Fc=1.15e5, plastic=0.03, post=0.115, residual=0.3, ultimate=0.2)
LAWS = [DeterioratingBilinear, DeterioratingPeakOriented, DeterioratingPinching]
EVERY = pytest.mark.parametrize("kind", LAWS)


def fine(turns: np.ndarray, points: int) -> np.ndarray:
    legs = [np.linspace(a, b, points + 1)[1:] for a, b in pairwise(turns)]
    return np.concatenate([turns[:1], *legs])


@EVERY
def test_the_backbone_is_the_monotonic_curve(kind: type[Law]) -> None:
    """Yield, cap, softening line, residual force and the drop at −k from the ultimate deformation, on either side."""
    law = kind(k=1e7, positive=SIDE, negative=SIDE._replace(Fy=0.8e5, Fc=0.8e5))
    u = np.array([0.0, 0.005, 0.01, 0.025, 0.04, 0.1, 0.125, 0.2, 0.202, 0.203, 0.4])
    expected = np.array([0.0, 0.5e5, 1e5, 1.075e5, 1.15e5, 0.55e5, 0.3e5, 0.3e5, 0.1e5, 0.0, 0.0])
    assert drive(law, u).force == pytest.approx(expected, abs=1e-6)
    assert drive(law, np.array([0.0, -0.008, -0.03])).force[1:] == pytest.approx([-0.8e5, -0.8e5])


@EVERY
def test_without_modes_cycles_repeat(kind: type[Law]) -> None:
    """With every γ at 0 the second and the tenth cycle are the same."""
    law = kind(k=1e7, positive=SIDE)
    u = 0.03 * np.sin(2.0 * np.pi * np.arange(2001) / 200)
    force = drive(law, u).force
    assert force[-200:] == pytest.approx(force[401:601], rel=1e-9, abs=1e-3)


def test_bilinear_reloads_to_the_hardening_line() -> None:
    """Kinematic hardening: reversed yielding lies on the line through the other yield point."""
    law = DeterioratingBilinear(k=1e7, positive=SIDE)
    loop = drive(law, np.array([0.0, 0.03, 0.02, 0.01, -0.005]))
    # 1.1e5 at 0.03; the lower line is −1e5 + 5e5·(u + 0.01)
    assert loop.force[1:] == pytest.approx([1.1e5, 0.1e5, -0.9e5, -0.975e5])


def test_bilinear_never_regains_what_softening_took() -> None:
    """After softening, reloading stops at the smallest force reached on the softening line."""
    law = DeterioratingBilinear(k=1e7, positive=SIDE)
    loop = drive(law, np.array([0.0, 0.09, 0.05, 0.065]))
    assert loop.force[1] == pytest.approx(0.65e5)
    assert loop.force[2] < 0.0
    assert loop.force[3] == pytest.approx(0.65e5)
    assert loop.tangent[3] == pytest.approx(0.0)


def test_peak_oriented_reloads_to_the_largest_excursion() -> None:
    """From zero force straight to the yield point of a virgin side, later to its largest excursion."""
    law = DeterioratingPeakOriented(k=1e7, positive=SIDE)
    zero = 0.03 - 1.1e5 / 1e7
    half = 0.5 * (zero - 0.01)
    loop = drive(law, np.array([0.0, 0.03, zero, half, -0.01, -0.02, -0.0095, 0.5 * (0.03 - 0.0095), 0.03]))
    assert loop.force[2:5] == pytest.approx([0.0, -0.5e5, -1e5], abs=1e-6)
    assert loop.force[6:] == pytest.approx([0.0, 0.55e5, 1.1e5], abs=1e-6)


def test_pinching_passes_the_break_point() -> None:
    """From zero force at ur to ((1 − kd)·ur, kf·F*), then to the target."""
    law = DeterioratingPinching(k=1e7, positive=SIDE, kf=0.2, kd=0.5)
    zero = 0.03 - 1.1e5 / 1e7
    loop = drive(law, np.array([0.0, 0.03, 0.5 * zero, -0.01]))
    assert loop.force[2:] == pytest.approx([-0.2e5, -1e5])


def energy_of_first_excursion(turn: float) -> float:
    """Work of 0 → turn → zero force, for a turn between yield and cap."""
    force = 1e5 + 5e5 * (turn - 0.01)
    return 0.5 * 1e5 * 0.01 + 0.5 * (1e5 + force) * (turn - 0.01) - 0.5 * force**2 / 1e7


@pytest.mark.parametrize("c", [1.0, 1.5])
def test_basic_strength_and_unloading_stiffness_lose_their_beta(c: float) -> None:
    """After the first excursion the other side yields at (1 − βs)·Fy and both unload at (1 − βk)·k."""
    law = DeterioratingBilinear(k=1e7, positive=SIDE, strength=20.0, unloading=30.0, c=c)
    E = energy_of_first_excursion(0.03)
    beta_s = (E / (20.0 * 1e3 - E)) ** c
    beta_k = (E / (30.0 * 1e3 - E)) ** c
    loop = drive(law, np.array([0.0, 0.03, -0.01, -0.03, -0.029]))
    Fy, Ks = (1.0 - beta_s) * 1e5, (1.0 - beta_s) * 5e5
    expected = [-(Fy + Ks * (u - Fy / 1e7)) for u in (0.01, 0.03)]
    assert loop.force[2:4] == pytest.approx(expected)
    assert loop.tangent[-1] == pytest.approx((1.0 - beta_k) * 1e7)
    assert law.dissipated(loop.memory) == pytest.approx(E)


def test_post_capping_strength_moves_the_softening_line_in() -> None:
    """After the first excursion the softening line of the other side starts at (1 − βc)·Fref."""
    law = DeterioratingPeakOriented(k=1e7, positive=SIDE, capping=20.0)
    E = energy_of_first_excursion(0.03)
    Fref = 1.15e5 + 1e6 * 0.04
    beta = E / (20.0 * 1e3 - E)
    assert drive(law, np.array([0.0, 0.03, -0.1])).force[-1] == pytest.approx(
        -((1.0 - beta) * Fref - 1e6 * 0.1)
    )


def test_reloading_aims_further_away() -> None:
    """After the first excursion the target of the other side lies at (1 + βa)·δy."""
    law = DeterioratingPeakOriented(k=1e7, positive=SIDE, reloading=20.0)
    E = energy_of_first_excursion(0.03)
    target = 0.01 * (1.0 + E / (20.0 * 1e3 - E))
    zero = 0.03 - 1.1e5 / 1e7
    force = 1e5 + 5e5 * (target - 0.01)
    loop = drive(law, np.array([0.0, 0.03, 0.5 * (zero - target), -target]))
    assert loop.force[2:] == pytest.approx([-0.5 * force, -force])


def test_rates_scale_the_loss_of_each_side() -> None:
    """A side with rate 0 keeps its strength."""
    law = DeterioratingPeakOriented(k=1e7, positive=SIDE, strength=15.0, rates=(1.0, 0.0))
    force = drive(law, fine(np.array([0.0, 0.03, -0.03, 0.03, -0.03]), 50)).force
    assert [force[100], force[200]] == pytest.approx([-1.1e5, -1.1e5])
    assert force[150] < 0.95 * force[50]


@EVERY
def test_spent_energy_leaves_no_strength(kind: type[Law]) -> None:
    """Once Eₜ is spent the force is zero, and stays so."""
    law = kind(k=1e7, positive=SIDE, strength=10.0)
    loop = drive(law, 0.03 * np.sin(np.linspace(0.0, 60.0, 6001)))
    assert law.dissipated(loop.memory) > 10.0 * 1e3
    assert np.abs(loop.force[-2000:]).max() < 1e-6


@EVERY
@settings(max_examples=40, deadline=None)
@given(
    turns=st.lists(st.floats(-0.25, 0.25), min_size=2, max_size=14),
    gammas=st.tuples(*[st.sampled_from([0.0, 8.0, 30.0, 200.0])] * 4),
    residual=st.sampled_from([0.0, 0.4]),
    last=st.sampled_from([None, 0.1]),
)
def test_no_history_gets_back_more_than_it_put_in(
    kind: type[Law], turns: list[float], gammas: tuple[float, ...], residual: float, last: float | None
) -> None:
    """Work less recoverable energy never falls and a step is as good as many, for any modes, backbone and history."""
    plus = SIDE._replace(residual=residual, ultimate=last)
    minus = Backbone(Fy=0.7e5, Fc=0.7e5, plastic=0.02, post=0.05, residual=residual, ultimate=last)
    law = kind(
        k=1e7, positive=plus, negative=minus, strength=gammas[0], capping=gammas[1], unloading=gammas[2]
    )
    if kind is not DeterioratingBilinear:
        law = replace(law, reloading=gammas[3])
    path = np.array([0.0, *turns])
    loop = drive(law, fine(path, 600))
    step = np.abs(np.diff(loop.deformation)).max()
    dissipated = loop.work - loop.recoverable
    # The trapezoidal work of the test, not the law, errs by up to k·h²/4 at a kink.
    assert np.max(np.maximum.accumulate(dissipated) - dissipated) <= 2.0 * len(turns) * 1e7 * step**2 + 1e-9
    assert np.abs(np.diff(loop.force)).max() <= 1.0001e7 * step + 1e-6
    # A turn at zero force belongs to either side by rounding, and losses are taken when the side changes.
    sides = np.append(np.abs(loop.force[600::600]) > 1e-3, False)
    clear = 1 + int(np.argmin(sides))
    assert loop.force[::600][:clear] == pytest.approx(drive(law, path).force[:clear], abs=1e-2)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("positive", SIDE._replace(Fc=0.9e5)),
        ("positive", SIDE._replace(plastic=1e-4)),
        ("positive", SIDE._replace(ultimate=0.02)),
        ("negative", SIDE._replace(Fy=-1e5)),
        ("negative", (1e5,)),
        ("strength", -1.0),
        ("c", 0.0),
        ("rates", (2.0, 1.0)),
    ],
)
def test_bad_numbers_are_refused(field: str, value: object) -> None:
    """Caps below yield, ends before the cap, negative forces or energies raise `InputError` naming the field."""
    with pytest.raises(InputError, match=field):
        replace(DeterioratingPinching(k=1e7, positive=SIDE), **{field: value})
