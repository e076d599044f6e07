"""Members with an unsymmetric tangent: declared ones are solved as they are, silent ones are refused."""

import math
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from frame2d import BeamColumn, Frame, InputError, gravity, modes, push, static, time_history
from frame2d.analysis import chang
from frame2d.elements.member import Part, Pieces
from frame2d.kernels import member_kernel

E, I, L = 200e9, 1e-4, 5.0  # noqa: E741
EI = E * I


@member_kernel
def follow(
    p: Any, m0: Any, d: Any, w: Any, dt: float, c: float, scratch: Any, f: Any, k: Any, e: Any, m1: Any
) -> int:
    """Compression p[0] that turns with the second node, of an upright column; d = ux, uy, rz of that node."""
    s, co = math.sin(d[2]), math.cos(d[2])
    f[0], f[1], f[2] = -p[0] * s, p[0] * co, 0.0
    for i in range(9):
        k[i] = 0.0
    k[2], k[5] = -p[0] * co, -p[0] * s
    e[0] = 0.0
    return 0


@dataclass(frozen=True)
class Follower:
    """Follower force P (N) on the second node."""

    P: float
    symmetric: bool = False

    def pieces(self, xi: float, yi: float, xj: float, yj: float) -> Pieces:
        """One part on the second node."""
        rows = np.zeros((3, 6))
        rows[[0, 1, 2], [3, 4, 5]] = 1.0
        part = Part(follow, np.array([self.P]), np.zeros(0), rows, "follower", symmetric=self.symmetric)
        return Pieces(parts=[part])

    def laws(self) -> dict[str, Any]:
        """None."""
        return {}

    def describe(self) -> dict[str, Any]:
        """Not kept in files."""
        return {"family": "Follower", "P": self.P}


def column(P: float, symmetric: bool = False, pieces: int = 16) -> Frame:
    """Cantilever column with a follower force at its head, and a lateral unit load."""
    frame = Frame("column")
    frame.node("0", 0, 0, support="fixed")
    for k in range(1, pieces + 1):
        frame.node(str(k), 0, L * k / pieces, mass=10.0)
        frame.member(f"m{k}", str(k - 1), str(k), BeamColumn(E, 1.0, I, geometry="corotational"))
    frame.node("base", 1, 0, support="fixed")
    frame.member("follower", "base", str(pieces), Follower(P, symmetric))
    frame.load(str(pieces), fx=1.0, case="lateral")
    return frame


def head(H: float, P: float) -> float:
    """Head displacement of the exact linear theory, v = H/(EI·κ³)·(sin κL − κL·cos κL), κ² = P/EI (Beck 1952)."""
    kappa = math.sqrt(P / EI)
    return H / (EI * kappa**3) * (math.sin(kappa * L) - kappa * L * math.cos(kappa * L))


@pytest.mark.parametrize("ratio", [1.0, 4.0, 12.0])
def test_a_follower_force_has_its_exact_deflection(ratio):
    """Far above the Euler load of a dead force the column stands, with the deflection of Beck's linear theory."""
    P = ratio * EI / L**2
    response = static(column(P).compile(), cases={"lateral": 100.0})
    assert response.displacement("16")[-1] == pytest.approx(head(100.0, P), rel=2e-3)
    assert response.counts()["iterations"] <= 5  # quadratic: the tangent is the true one


def test_pushing_and_motion_take_it_too():
    """Displacement control meets the statics, and a slow push in time as well."""
    P = 4.0 * EI / L**2
    system = column(P).compile()
    led = push(system, pattern="lateral", node="16", target=head(100.0, P), steps=3)
    assert led.factor[-1] == pytest.approx(100.0, rel=5e-3)
    begin = static(system, cases={"lateral": 0.0}).state
    ramp = 100.0 * np.minimum(np.arange(2001) / 1000.0, 1.0)
    moved = time_history(system, dt=0.002, forces={("16", "ux"): ramp}, state=begin)
    mean = np.mean(moved.displacement("16")[1000:])
    assert mean == pytest.approx(head(100.0, P), rel=0.05)


def test_the_tangent_is_the_derivative_of_the_force():
    """The whole tangent of the system, unsymmetric terms included, meets differences of internal forces."""
    system = column(4.0 * EI / L**2, pieces=2).compile()
    state = static(system, cases={"lateral": 5000.0}).state
    tangent = system.tangent(state).toarray()
    assert np.abs(tangent - tangent.T).max() > 1e-3 * EI / L**2
    x = state.motion.q + 0.0
    for direction in np.eye(system.count)[:4]:
        moved = [system.internal_force(x + sign * 1e-7 * direction) for sign in (1.0, -1.0)]
        slope = (moved[0] - moved[1]) / 2e-7
        assert np.allclose(tangent @ direction, slope, rtol=1e-5, atol=1e-5 * np.abs(tangent).max())


def test_a_silent_one_is_refused():
    """A member that does not say that its tangent is unsymmetric is named before anything runs."""
    with pytest.raises(InputError, match=r"member 'follower': the tangent of its follower is not symmetric"):
        column(1e5, symmetric=True).compile()


def test_what_needs_symmetry_says_so():
    """Modes and explicit schemes refuse such a frame and name the member."""
    system = column(1e5).compile()
    with pytest.raises(InputError, match=r"'follower' has an unsymmetric tangent; allowed for modes"):
        modes(system)
    record = SimpleNamespace(acceleration=np.zeros(20), dt=0.001, name="rest")
    with pytest.raises(InputError, match=r"allowed for Chang"):
        time_history(system, record, scheme=chang())
    with pytest.raises(InputError, match="load case"):
        gravity(system)


def test_a_mechanism_with_such_a_member_is_named():
    """The free motion of a frame with an unsymmetric member is found as well."""
    frame = column(1e5, pieces=2)
    frame.node("loose", 3, 3)
    frame.member("arm", "2", "loose", BeamColumn(E, 1e-2, I, start="pinned"))
    with pytest.raises(InputError, match=r"mechanism.*node 'loose'"):
        frame.compile()
