"""Hinges of axial force and moment that a user writes: registered, saved, loaded and run like the library's own."""

import json
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from frame2d import BeamColumn, Frame, InputError, gravity
from frame2d.kernels import OK
from frame2d.materials import PairHinge, build_hinge, register_hinge, registered_hinges
from frame2d.materials.axial_moment import AxialMomentHinge, drive_pair
from frame2d.materials.pair import pair_kernel
from frame2d.model.schema import from_data, to_data


@pair_kernel
def rocking(p: Any, m0: Any, d: Any, out: Any, m1: Any) -> int:
    """½kN·(e + ½hθ²)² + ½kM·θ²: turning about an edge lengthens the joint. Invented."""
    kN, kM, h = p[0], p[1], p[2]
    stretch = d[0] + 0.5 * h * d[1] * d[1]
    N = kN * stretch
    out[0], out[1] = N, N * h * d[1] + kM * d[1]
    out[2] = kN
    out[3] = out[4] = kN * h * d[1]
    out[5] = kN * h * h * d[1] * d[1] + N * h + kM
    out[6] = 0.5 * (N * stretch + kM * d[1] * d[1])
    m1[0] = m0[0]
    return OK


@register_hinge
@dataclass(frozen=True)
class Rocking(PairHinge):
    """Joint that rocks on an edge."""

    kN: float
    kM: float
    h: float
    kernel = rocking
    recoverable = "all of it"

    @classmethod
    def example(cls) -> "Rocking":
        return cls(kN=2e9, kM=3e7, h=0.4)


@pytest.mark.parametrize("name", sorted(registered_hinges()))
def test_every_hinge_is_registered_described_and_consistent(name: str) -> None:
    """Any listed hinge survives JSON, and its tangent is symmetric and the derivative of its forces on loading."""
    hinge = registered_hinges()[name].example()
    assert build_hinge(json.loads(json.dumps(hinge.describe()))) == hinge and hinge.recoverable
    at, h = np.array([2e-3, 6e-3]), 1e-8
    start = drive_pair(hinge, at[None])
    found = start.tangent[0]
    assert found == pytest.approx(found.T)
    for k in range(2):
        step = np.zeros(2)
        step[k] = h
        ahead, behind = (drive_pair(hinge, (at + sign * step)[None]).force[0] for sign in (1.0, -1.0))
        assert (ahead - behind) / (2.0 * h) == pytest.approx(
            found[:, k], rel=1e-4, abs=1e-5 * np.abs(found).max()
        )


def test_ones_own_hinge_stands_in_a_frame() -> None:
    """A cantilever on it, saved and read again, tips by M/(N·h + kM) at its base: equilibrium alone gives N and M."""
    hinge, E, second, L = Rocking.example(), 2.1e11, 2e-4, 3.0
    frame = Frame("rocking column")
    frame.node("A", 0.0, 0.0, "fixed")
    frame.node("B", 0.0, L)
    frame.member("AB", "A", "B", BeamColumn(E, 1e-2, second, start=hinge), device=True)
    frame.load("B", fx=2e4, fy=3e5)
    read = from_data(json.loads(json.dumps(to_data(frame))))
    assert read.members["AB"].member.start == hinge
    response = gravity(read.compile())
    turned = 2e4 * L / (3e5 * hinge.h + hinge.kM)
    tip = turned * L + 2e4 * L**3 / (3.0 * E * second)
    assert response.displacement("B")[-1] == pytest.approx(tip, rel=1e-9)
    assert abs(response.device("AB").deformation[-1]) == pytest.approx(turned, rel=1e-9)


def test_unknown_hinges_and_parameters_are_named() -> None:
    """A hinge that nobody registered, a misspelt parameter or a missing one raise `InputError`."""
    with pytest.raises(InputError, match="hinge"):
        build_hinge({"hinge": "Rockin", "kN": 1.0})
    with pytest.raises(InputError, match="parameters"):
        build_hinge({"hinge": "Rocking", "kN": 1.0, "kM": 1.0, "arm": 1.0})
    described = AxialMomentHinge.example().describe()
    del described["surface"]
    with pytest.raises(InputError, match="parameters"):
        build_hinge(described)
