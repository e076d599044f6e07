"""Loading protocols: amplitudes, numbers of cycles, histories."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frame2d.component_tests import (
    aisc341_beam_column,
    aisc341_link,
    constant,
    eccs45,
    fema461,
    increasing,
)
from frame2d.errors import InputError
from frame2d.units import mm

FEMA = [
    4.84002582, 6.77603615, 9.48645062, 13.2810309, 18.5934432, 26.0308205,
    36.4431487, 51.0204082, 71.4285714, 100.0, 130.0, 160.0,
]  # fmt: skip


def test_eccs() -> None:
    """ECCS 45 at 10 mm yield: 16 cycles to 8 yields, 2500 mm of travel, the thirteenth at 60 mm."""
    protocol = eccs45(10 * mm)
    assert protocol.cycles == 16
    assert protocol.travel / mm == pytest.approx(2500, rel=1e-9)
    assert protocol.amplitudes[12] / mm == pytest.approx(60, rel=1e-9)
    assert protocol.largest / mm == pytest.approx(80, rel=1e-9)


def test_eccs_unsymmetric() -> None:
    """Each side of ECCS 45 goes by its own yield deformation."""
    points = eccs45(10 * mm, (2,), yield_down=5 * mm).turning_points()
    assert points.max() == pytest.approx(20 * mm)
    assert points.min() == pytest.approx(-10 * mm)
    assert points[:3] == pytest.approx([0.0, 2.5 * mm, -1.25 * mm])
    assert eccs45(10 * mm, (2,), yield_down=5 * mm).turning_points(-1)[1] == pytest.approx(-1.25 * mm)


def test_fema() -> None:
    """FEMA 461 to 100 mm in ten steps of ratio 1.4, then 30 mm a step."""
    protocol = fema461(100 * mm, further=2)
    assert [step.up / mm for step in protocol.steps] == pytest.approx(FEMA, rel=1e-6)
    assert all(step.cycles == 2 for step in protocol.steps)
    assert fema461(100 * mm).travel / mm == pytest.approx(2703.19948351, rel=1e-9)


def test_aisc_beam_column() -> None:
    """AISC 341 beam-column: 30 cycles to 0.04 rad, 1.39 rad of travel, then 0.05 rad."""
    protocol = aisc341_beam_column()
    assert protocol.cycles == 30
    assert protocol.travel == pytest.approx(1.39, rel=1e-9)
    assert protocol.amplitudes[22] == pytest.approx(0.015, rel=1e-9)
    assert aisc341_beam_column(0.05).amplitudes[30] == pytest.approx(0.05, rel=1e-9)


def test_aisc_link() -> None:
    """AISC 341 link: six cycles at four small angles, single cycles from 0.04 rad, then 0.02 rad a step."""
    protocol = aisc341_link(0.13)
    assert [(step.up, step.cycles) for step in protocol.steps[:4]] == [
        (0.00375, 6),
        (0.005, 6),
        (0.0075, 6),
        (0.01, 6),
    ]
    assert [step.up for step in protocol.steps[-4:]] == pytest.approx([0.07, 0.09, 0.11, 0.13])
    assert protocol.cycles == 24 + 8 + 2 + 4 + 2


@settings(max_examples=20, deadline=None)
@given(
    st.lists(st.tuples(st.floats(1e-4, 0.1), st.integers(1, 3)), min_size=1, max_size=4),
    st.floats(1e-4, 0.1),
    st.sampled_from([1, -1]),
)
def test_history_by_rate(steps: list[tuple[float, int]], rate: float, first: int) -> None:
    """A history by rate hits every reversal, keeps the rate, and travels the protocol's path."""
    protocol = increasing([a for a, _ in steps], [n for _, n in steps])
    dt = 0.1 * protocol.largest / rate
    history = protocol.by_rate(rate, dt, first=first)
    assert history.time is not None
    assert history.deformation[history.turns] == pytest.approx(protocol.turning_points(first))
    assert np.max(np.abs(np.diff(history.deformation))) <= rate * dt * (1 + 1e-9)
    assert np.diff(history.time) == pytest.approx(dt)
    assert np.abs(np.diff(history.deformation)).sum() == pytest.approx(protocol.travel)
    assert history.deformation[-1] == 0.0


@pytest.mark.parametrize("shape", ["straight", "sine"])
def test_history_by_steps(shape: str) -> None:
    """A history by steps has the asked number of steps a cycle and passes both peaks."""
    history = constant(0.02, 3).by_steps(40, shape=shape)
    assert history.deformation.size == 3 * 40 + 1
    assert history.deformation[[10, 30, 50, 70]] == pytest.approx([0.02, -0.02, 0.02, -0.02])
    if shape == "sine":
        assert history.deformation == pytest.approx(0.02 * np.sin(2 * np.pi * np.arange(121) / 40), abs=1e-15)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: eccs45(-1.0), "yield_up is -1.0"),
        (lambda: eccs45(1.0, yield_down=-1.0), "magnitude"),
        (lambda: fema461(0.1, steps=4), "10 or more"),
        (lambda: fema461(0.1, ratio=0.7), "1.4"),
        (lambda: aisc341_beam_column(4.0), "0.04"),
        (lambda: aisc341_link(0.1), "whole increments"),
        (lambda: increasing([], 1), "no step"),
        (lambda: increasing([0.1, 0.2], [1]), "1 entries for 2"),
        (lambda: constant(0.1, 0), "0 cycles"),
        (lambda: constant(0.1, 1).by_steps(10), "multiple of 4"),
        (lambda: constant(0.1, 1).by_rate(0.0, 0.1), "rate is 0"),
    ],
)
def test_bad_protocols(make: Callable[[], object], says: str) -> None:
    """Impossible protocols are refused with the likely mistake."""
    with pytest.raises(InputError, match=says):
        make()


def test_protocol_prints_its_source() -> None:
    """A protocol prints cycles, amplitudes and source."""
    assert "ECCS No. 45, 1986" in str(eccs45(0.01))
