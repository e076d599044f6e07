"""Properties that every member family keeps: no force in rigid motion, symmetric consistent tangents, round trips."""

import math

import numpy as np
import pytest

from frame2d import elements
from frame2d.elements import BeamColumn, Brace, Link, ShearLink
from frame2d.errors import InputError
from frame2d.kernels import at, call_member, compiled
from frame2d.materials import Bilinear, BoucWen, Elastic
from frame2d.materials.axial_moment import AxialMomentHinge

E = 210e9
SOFT = Bilinear(k=2e7, Fy=5e4, b=0.02)
FAMILIES = {
    "elastic": BeamColumn(E, 1e-2, 1e-4),
    "timoshenko with arms": BeamColumn(
        E, 1e-2, 1e-4, shear_area=4e-3, start_offset=(0.2, 0.1), end_offset=(-0.3, 0.0)
    ),
    "p-delta": BeamColumn(E, 1e-2, 1e-4, geometry="p-delta", end_offset=(-0.3, 0.1)),
    "corotational": BeamColumn(E, 1e-2, 1e-4, geometry="corotational"),
    "corotational with arms": BeamColumn(
        E, 1e-2, 1e-4, geometry="corotational", start_offset=(0.2, 0.1), end=SOFT
    ),
    "hinges inside": BeamColumn(E, 1e-2, 1e-4, start=SOFT, end=SOFT, start_inset=0.3, end_inset=0.2),
    "axial-moment hinge": BeamColumn(E, 1e-2, 1e-4, start=AxialMomentHinge.example(), geometry="p-delta"),
    "brace": Brace(BoucWen(k=1e8, Fy=2e5), geometry="linear"),
    "second-order brace": Brace(Elastic(1e8), geometry="p-delta"),
    "exact brace": Brace(Elastic(1e8), geometry="corotational"),
    "link": Link(axial=Elastic(1e8), transverse=SOFT, rotation=Elastic(1e6), angle=0.4),
    "shear link": ShearLink(E, 1e-2, 1e-4, shear=Bilinear(k=1e8, Fy=2e5, b=0.01)),
    "second-order shear link": ShearLink(E, 1e-2, 1e-4, Bilinear(k=1e8, Fy=2e5, b=0.01), "p-delta"),
    "exact shear link": ShearLink(E, 1e-2, 1e-4, Bilinear(k=1e8, Fy=2e5, b=0.01), "corotational"),
}
EXACT = ("corotational", "corotational with arms", "exact brace", "exact shear link")


@compiled
def _call(address, p, m0, d, f, k, e, m1):  # type: ignore[no-untyped-def]
    scratch = np.zeros(600)
    zero = np.zeros(d.size)
    return call_member(
        address,
        at(p, 0),
        at(m0, 0),
        at(d, 0),
        at(zero, 0),
        0.0,
        0.0,
        at(scratch, 0),
        at(f, 0),
        at(k, 0),
        at(e, 0),
        at(m1, 0),
    )


def response(member, u, ends=(0.0, 0.0, 3.0, 2.0)):  # type: ignore[no-untyped-def]
    """Force and tangent of a whole member on its own freedoms."""
    pieces = member.pieces(*ends)
    force, tangent = pieces.stiffness @ u, pieces.stiffness.copy()
    for part in pieces.parts:
        d = part.transform @ u
        f, k, e = np.zeros(d.size), np.zeros(d.size**2), np.zeros(1)
        memory = np.append(part.memory, 0.0)
        assert (
            _call(part.kernel.address, np.append(part.parameters, 0.0), memory, d, f, k, e, memory.copy())
            == 0
        )
        force = force + part.transform.T @ f
        tangent = tangent + part.transform.T @ k.reshape(d.size, -1) @ part.transform
    return force, tangent


def rigid(member, shift, turn, ends=(0.0, 0.0, 3.0, 2.0)):  # type: ignore[no-untyped-def]
    """Freedoms of a member that shifts and turns (small rotation) as a whole, inner ones in equilibrium."""
    pieces = member.pieces(*ends)
    u = np.zeros(pieces.size)
    for node in range(2):
        x, y = ends[2 * node], ends[2 * node + 1]
        u[3 * node : 3 * node + 3] = shift[0] - turn * y, shift[1] + turn * x, turn
    inner = np.arange(6, pieces.size)
    if inner.size:
        force, tangent = response(member, u, ends)
        u[inner] -= np.linalg.solve(tangent[np.ix_(inner, inner)], force[inner])
    return u


@pytest.mark.parametrize("name", FAMILIES)
def test_a_small_rigid_motion_gives_no_force(name):
    """Shifting and slightly turning a member as a whole leaves it free of force."""
    member = FAMILIES[name]
    turn = 1e-7
    ends = (1.0, 2.0, 1.0, 2.0) if isinstance(member, Link) else (0.0, 0.0, 3.0, 2.0)
    force, tangent = response(member, rigid(member, (0.01, -0.02), turn, ends), ends)
    assert np.abs(force).max() < 1e-5 * np.abs(tangent).max() * turn


@pytest.mark.parametrize("name", EXACT)
def test_corotational_members_are_objective(name):
    """A member turned by a large angle as a whole carries no force."""
    member = FAMILIES[name]
    ends = (0.0, 0.0, 3.0, 2.0)
    pieces = member.pieces(*ends)
    turn = 2.0
    u = np.zeros(pieces.size)
    for node in range(2):
        x, y = ends[2 * node], ends[2 * node + 1]
        c, s = math.cos(turn), math.sin(turn)
        u[3 * node : 3 * node + 3] = c * x - s * y - x, s * x + c * y - y, turn
    u[6:] = [turn if kind == "r" else 0.0 for kind in pieces.inner]
    force, tangent = response(member, u)
    assert np.abs(force).max() < 1e-10 * np.abs(tangent).max()


@pytest.mark.parametrize("name", FAMILIES)
def test_the_tangent_is_symmetric_and_consistent(name):
    """The tangent is symmetric and the derivative of the force."""
    member = FAMILIES[name]
    size = member.pieces(0.0, 0.0, 3.0, 2.0).size
    u = np.random.default_rng(3).normal(size=size) * 2e-4
    _, tangent = response(member, u)
    assert np.allclose(tangent, tangent.T, rtol=1e-10, atol=1e-9 * np.abs(tangent).max())
    step = 1e-8
    for column in range(size):
        high, low = u.copy(), u.copy()
        high[column] += step
        low[column] -= step
        slope = (response(member, high)[0] - response(member, low)[0]) / (2 * step)
        assert np.allclose(slope, tangent[:, column], atol=2e-5 * np.abs(tangent).max())


@pytest.mark.parametrize("name", FAMILIES)
def test_a_member_is_rebuilt_from_its_description(name):
    """`build` of `describe` gives the same member."""
    member = FAMILIES[name]
    assert elements.build(member.describe()).describe() == member.describe()


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: BeamColumn(210.0, 1e-2, 1e-4), "GPa"),
        (lambda: BeamColumn(E, 5380.0, 8e7), "mm²"),
        (lambda: BeamColumn(E, -1.0, 1e-4), "BeamColumn.A"),
        (lambda: BeamColumn(E, 1e-2, 1e-4, geometry="p delta"), "p-delta"),
        (lambda: BeamColumn(E, 1e-2, 1e-4, start="hinged"), "rigid"),
        (lambda: Link(), "no law"),
        (lambda: Link(axial=1e6), "Elastic"),
        (lambda: Brace(3.0), "law"),
        (lambda: BeamColumn(E, 1e-2, 1e-4).pieces(0, 0, 0, 0), "clear length"),
        (lambda: BeamColumn(E, 1e-2, 1e-4, end=SOFT, end_inset=9.0).pieces(0, 0, 3, 0), "inset"),
    ],
)
def test_wrong_properties_are_named(make, words):
    """An impossible property is refused with the thing, the allowed range and the likely mistake."""
    with pytest.raises(InputError, match=words):
        make()
