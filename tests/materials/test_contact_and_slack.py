"""Contact on one side, slack on both sides of any law."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.errors import InputError
from frame2d.materials import Bilinear, Contact, Elastic, Parallel, Slack, ViscousDamper, build
from frame2d.materials.drive import drive


def test_contact_acts_on_its_side_beyond_the_clearance() -> None:
    """Compression contact is a spring for u < −c and nothing else; tension contact is its mirror image."""
    u = np.array([-0.004, -0.002, -0.001, 0.0, 0.01])
    push = drive(Contact(k=1e8, clearance=0.002), u)
    assert push.force == pytest.approx([-2e5, 0.0, 0.0, 0.0, 0.0])
    assert push.tangent[[0, 2]] == pytest.approx([1e8, 0.0])
    assert push.recoverable[0] == pytest.approx(200.0)
    pull = drive(Contact(k=1e8, clearance=0.002, side="tension"), -u)
    assert pull.force == pytest.approx(-push.force)


def test_slack_before_a_spring_is_the_two_sided_gap() -> None:
    """With an elastic inner law F = k·(u ∓ c) outside the clearance and 0 inside, whatever came before."""
    u = 0.01 * np.random.default_rng(1).uniform(-1.0, 1.0, 500)
    expected = 1e7 * np.sign(u) * np.maximum(np.abs(u) - 0.003, 0.0)
    assert drive(Slack(Elastic(1e7), 0.003), u).force == pytest.approx(expected, abs=1e-6)


def test_slack_moves_with_the_plastic_deformation() -> None:
    """After yielding forward by 0.02 the inner law is met again on the way back 2c further."""
    law = Slack(Bilinear(k=1e7, Fy=1e5), 0.002)
    # Contact at 0.002, yield at 0.012, plastic 0.02 at 0.032; free from 0.022 to 0.018.
    u = np.array([0.0, 0.002, 0.012, 0.032, 0.023, 0.022, 0.020, 0.018, 0.017, 0.0, 0.02])
    expected = [0.0, 0.0, 1e5, 1e5, 1e4, 0.0, 0.0, 0.0, -1e4, -1e5, 6e4]
    loop = drive(law, u)
    assert loop.force == pytest.approx(expected, abs=1e-3)
    (inner,) = law.memories(loop.memory)
    assert inner[0] == pytest.approx(0.012)


@settings(max_examples=30, deadline=None)
@given(turns=st.lists(st.floats(-0.06, 0.06), min_size=2, max_size=10))
def test_slack_takes_nothing_from_the_energy_of_the_inner_law(turns: list[float]) -> None:
    """One step is as good as many and work less recoverable energy never falls, for any history."""
    law = Slack(Bilinear(k=1e7, Fy=1e5), 0.004)
    path = np.array([0.0, *turns])
    legs = [np.linspace(a, b, 401)[1:] for a, b in pairwise(path)]
    loop = drive(law, np.concatenate([[0.0], *legs]))
    assert loop.force[::400] == pytest.approx(drive(law, path).force, abs=1e-3)
    dissipated = loop.work - loop.recoverable
    step = np.abs(np.diff(loop.deformation)).max()
    assert np.max(np.maximum.accumulate(dissipated) - dissipated) <= 1e7 * len(turns) * step**2 + 1e-9


def test_a_damper_behind_slack_acts_only_in_contact() -> None:
    """The inner damper meets the full rate in contact and rests while the bolt is free."""
    law = Slack(Parallel((Elastic(1e7), ViscousDamper(1e5))), 0.002)
    loop = drive(law, np.linspace(0.0, 0.01, 101), dt=0.01)
    assert loop.force[:20] == pytest.approx(np.zeros(20), abs=1e-9)
    assert loop.force[50] == pytest.approx(1e7 * (0.005 - 0.002) + 1e5 * 0.01)


def test_slack_is_built_again_with_its_inner_law() -> None:
    """`describe` and `build` carry the inner law along."""
    law = Slack(Slack(Bilinear(k=1e7, Fy=1e5), 0.001), 0.002)
    assert build(law.describe()) == law


def test_bad_clearances_are_refused() -> None:
    """Negative clearances, unknown sides and a number in place of a law raise `InputError`."""
    with pytest.raises(InputError, match="clearance"):
        Contact(k=1e8, clearance=-0.001)
    with pytest.raises(InputError, match="compression"):
        Contact(k=1e8, side="compresion")
    with pytest.raises(InputError, match="inner"):
        Slack(1e7, 0.002)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="clearance"):
        Slack(Elastic(1e7), 0.0)
