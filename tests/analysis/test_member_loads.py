"""Loads along members with hinges and rigid offsets, against meshes of plain members and closed forms."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.interpolate import make_interp_spline

from frame2d import BeamColumn, Frame, InputError, gravity
from frame2d.analysis import buckling
from frame2d.elements import Brace, Link
from frame2d.materials import Bilinear, Elastic
from frame2d.materials.axial_moment import AxialMomentHinge
from frame2d.show.diagrams import diagram
from frame2d.substructure.cut import cut_at

SECTION = {"E": 200e9, "A": 6e-3, "I": 8e-5}
SOFT, BENT = Elastic(4e6), Bilinear(k=6e6, Fy=3e4, b=0.05)
NODES = {"A": np.array([0.4, -0.3]), "B": np.array([6.1, 1.9])}
#: Springs that let both nodes move, so that no answer is trivial.
SPRING = Link(axial=Elastic(3e7), transverse=Elastic(2e7), rotation=Elastic(9e6))


def framed():
    """Two nodes on springs."""
    frame = Frame("on springs")
    for name, (x, y) in NODES.items():
        frame.node(name, x, y)
        frame.node(f"{name} ground", x, y, "fixed")
        frame.link(f"{name} spring", f"{name} ground", name, SPRING)
    return frame


def whole(loads, **options):
    """One member with its loads, run."""
    frame = framed()
    frame.member("AB", "A", "B", BeamColumn(**SECTION, **options))
    for load in loads:
        frame.member_load("AB", **load)
    return gravity(frame.compile())


class Mesh:
    """The same of plain members between nodes at hinges and wherever a load begins, ends or jumps."""

    def __init__(self, loads, start=None, end=None, start_inset=0.0, end_inset=0.0, **options):
        offsets = [np.array(options.pop(f"{side}_offset", (0.0, 0.0))) for side in ("start", "end")]
        self.frame, self.places, self.plain = framed(), {}, options
        self.ends = NODES["A"] + offsets[0], NODES["B"] + offsets[1]
        self.clear = float(np.hypot(*(self.ends[1] - self.ends[0])))
        self.axis = (self.ends[1] - self.ends[0]) / self.clear
        self.reach = [float(np.hypot(*offset)) for offset in offsets]
        hinges = {
            x: law for x, law in ((start_inset, start), (self.clear - end_inset, end)) if law is not None
        }
        limits = [self.limits(load) for load in loads]
        inside = {x for pair in limits for x in pair if 0.0 < x < self.clear}
        self.nodes = {}
        here, begin = None, 0.0
        for x in sorted({0.0, self.clear, *inside, *hinges}):
            there = self.frame.node(f"at {x}", *(self.ends[0] + x * self.axis))
            self.nodes[x] = there
            if here is not None:
                name = f"from {begin}"
                self.frame.member(name, here, there, BeamColumn(**SECTION, **self.plain))
                self.places[name] = (begin, x)
            here, begin = there, x
            if x in hinges:
                here = self.hinge(there, hinges[x], x)
        self.frame.rigid("A", ["at 0.0"])
        self.frame.rigid("B", [here])
        for load, pair in zip(loads, limits, strict=True):
            self.put(load, *pair)
        self.response = gravity(self.frame.compile())

    def limits(self, load):
        begin = load.get("begin", 0.0)
        if load.get("over_offsets"):
            return -self.reach[0], self.clear + self.reach[1]
        return begin, begin if load.get("point") else load.get("end", self.clear)

    def hinge(self, outer, law, x):
        """A second node, turning on its own."""
        inner = self.frame.node(f"{outer} beyond", *(self.ends[0] + x * self.axis))
        for component in ("ux", "uy"):
            self.frame.tie(component, (outer, inner) if x < self.clear else (inner, outer))
        if law != "pinned":
            self.frame.link(f"hinge {x}", outer, inner, Link(rotation=law))
        return inner

    def put(self, load, begin, end):
        """Whole loads on plain members; on rigid offsets the resultant at the node, by Simpson's rule."""
        q = [np.broadcast_to(load.get(key, 0.0), 2) for key in ("qx", "qy")]
        local = load.get("axes") == "local"

        def at(x):
            share = (x - begin) / (end - begin) if end > begin else 0.0
            return np.array([pair[0] + share * (pair[1] - pair[0]) for pair in q])

        def turned(f):
            c, s = self.axis
            return np.array([c * f[0] - s * f[1], s * f[0] + c * f[1]]) if local else f

        if end == begin and 0.0 < begin < self.clear:
            self.frame.load(self.nodes[begin], *turned(at(begin)))
        for name, (a, b) in self.places.items():
            if end > begin and begin <= a and b <= end:
                low, high = at(a), at(b)
                self.frame.member_load(
                    name, (low[0], high[0]), (low[1], high[1]), axes=load.get("axes", "global")
                )
        for node, far, first, last in (
            ("A", self.ends[0], -self.reach[0], 0.0),
            ("B", self.ends[1], self.clear, self.clear + self.reach[1]),
        ):
            a, b = max(begin, first), min(end, last)
            if end == begin and first <= begin <= last:
                samples = [(begin, 1.0)]
            elif a < b:
                samples = [(a, (b - a) / 6.0), (0.5 * (a + b), (b - a) * 4.0 / 6.0), (b, (b - a) / 6.0)]
            else:
                continue
            for x, weight in samples:
                near = abs(x) if node == "A" else x - self.clear
                reach = self.reach[node == "B"]
                arm = (far - NODES[node]) * (1.0 - near / reach if reach > 0.0 else 1.0)
                f = weight * turned(at(x))
                self.frame.load(node, f[0], f[1], arm[0] * f[1] - arm[1] * f[0])


def compare(loads, tolerance=1e-8, **options):
    """Nodes, reactions and everything along the member, of one member and of the mesh."""
    one, mesh = whole(loads, **options), Mesh(loads, **options)
    many = mesh.response
    for node in NODES:
        for component in ("ux", "uy", "rz"):
            a, b = one.displacement(node, component)[-1], many.displacement(node, component)[-1]
            assert a == pytest.approx(b, rel=tolerance, abs=1e-12)
    if options.get("geometry") == "corotational":
        return
    curve = one.along("AB", points=1601)
    size = np.abs(np.array(curve[1:])).max(axis=1)
    for name, (a, b) in mesh.places.items():
        piece = many.along(name, points=9)
        inside = (curve.x > a + 1e-6) & (curve.x < b - 1e-6)
        if np.count_nonzero(inside) < 12:
            continue
        for value, own, scale in zip(piece[1:], curve[1:], size, strict=True):
            spline = make_interp_spline(curve.x[inside], own[inside], k=5)
            # A spline is not asked outside of what it knows.
            x = piece.x[1:-1] + a
            assert spline(x) == pytest.approx(
                value[1:-1], rel=tolerance, abs=max(1e-8 * scale, 1e-6 * tolerance)
            )


LOADS = {
    "uniform": [{"qy": -2e4, "qx": 3e3}],
    "from node to node": [{"qy": (-2e4, -9e3), "qx": 4e3, "over_offsets": True}],
    "across a hinge": [{"qy": (-3e4, -1e4), "begin": 0.2, "end": 1.1, "axes": "local"}],
    "on a stub": [{"qy": -5e4, "qx": 1e4, "begin": 0.1, "end": 0.35}],
    "point on a stub": [{"qy": -5e4, "qx": 2e4, "begin": 0.3, "point": True}],
    "point on a hinge": [{"qy": -5e4, "qx": 2e4, "begin": 0.5, "point": True}],
    "point between hinges": [{"qy": -5e4, "begin": 2.7, "point": True, "axes": "local"}],
    "on offsets": [
        {"qy": (-4e4, -2e4), "begin": -0.15, "end": 0.0},
        {"qx": 3e4, "qy": -1e4, "begin": -0.1, "point": True, "axes": "local"},
    ],
}  # fmt: skip
SHAPES = {
    "inset hinges": {"start": SOFT, "end": BENT, "start_inset": 0.5, "end_inset": 0.8},
    "pinned inside": {"start": "pinned", "end": BENT, "start_inset": 0.5},
    "shear-flexible": {"start": BENT, "end": SOFT, "start_inset": 0.5, "end_inset": 0.8, "shear_area": 2e-3},
    "no hinges": {},
}
OFFSETS = {"start_offset": (0.15, 0.2), "end_offset": (-0.3, 0.1)}


@pytest.mark.parametrize("loads", LOADS)
@pytest.mark.parametrize("shape", SHAPES)
def test_a_member_with_hinges_is_its_mesh(shape, loads):
    """Displacements at the nodes and everything along the member are those of plain members and hinges at nodes."""
    compare(LOADS[loads], **SHAPES[shape], **OFFSETS)


@pytest.mark.parametrize("loads", ["uniform", "from node to node", "point on a hinge", "on offsets"])
def test_a_second_order_member_is_its_mesh(loads):
    """In second-order members it is so too, where no load begins between the hinges and divides the mesh further."""
    tension = [{"qx": 2e5, "begin": 0.0, "point": True}, *LOADS[loads]]
    hinges = {"start": SOFT, "end": BENT, "start_inset": 0.5, "end_inset": 0.8}
    compare(tension, 1e-7, geometry="p-delta", **hinges, **OFFSETS)


@pytest.mark.parametrize("loads", ["uniform", "point on a hinge"])
def test_the_nodes_of_a_corotational_member_are_those_of_its_mesh(loads):
    """Displacements of the nodes agree in corotational members with inset hinges."""
    hinges = {"start": SOFT, "end": BENT, "start_inset": 0.5, "end_inset": 0.8}
    compare(LOADS[loads], 1e-7, geometry="corotational", **hinges)


positions = st.floats(0.0, 1.0).map(lambda share: round(share, 2))


@settings(max_examples=25, deadline=None)
@given(
    insets=st.tuples(st.sampled_from([0.0, 0.03, 0.3, 1.2]), st.sampled_from([0.0, 0.05, 0.7])),
    ends=st.tuples(positions, positions, positions),
    q=st.tuples(*[st.floats(-5e4, 5e4)] * 4),
    laws=st.sampled_from([(SOFT, BENT), ("pinned", SOFT), (BENT, None), (None, "pinned")]),
    local=st.booleans(),
)
def test_any_load_on_any_hinged_member_is_carried_as_by_its_mesh(insets, ends, q, laws, local):
    """Linear and point loads of any extent, over offsets and hinges, act as on the mesh."""
    hinges = {
        key: value
        for side, law, inset in zip(("start", "end"), laws, insets, strict=True)
        if law is not None
        for key, value in ((side, law), (f"{side}_inset", inset))
    }
    low, high = -0.25, 5.9
    places = sorted(low + share * (high - low) for share in ends[:2])
    axes = "local" if local else "global"
    loads = [{"qy": -1e4}, {"qy": q[2], "begin": low + ends[2] * (high - low), "point": True, "axes": axes}]
    if places[1] - places[0] > 0.05:
        loads.append({"qx": q[:2], "qy": q[2:], "begin": places[0], "end": places[1], "axes": axes})
    # Very short plain members of the mesh would be ill-conditioned.
    course = NODES["B"] + OFFSETS["end_offset"] - NODES["A"] - OFFSETS["start_offset"]
    clear = float(np.hypot(*course))
    marks = {0.0, insets[0], clear - insets[1], clear, loads[1]["begin"], *places}
    assume(all(b - a > 0.02 or b == a for a, b in pairwise(sorted(marks))))
    compare(loads, 1e-6, **hinges, **OFFSETS)


@settings(max_examples=20, deadline=None)
@given(
    arms=st.tuples(*[st.floats(-0.5, 0.5)] * 4),
    q=st.tuples(*[st.floats(-5e4, 5e4)] * 4),
    inset=st.floats(0.1, 1.0),
    geometry=st.sampled_from(["linear", "p-delta", "corotational"]),
)
def test_reactions_hold_all_of_a_load(arms, q, inset, geometry):
    """Forces and moments of the ground balance a load from node to node, however the offsets run."""
    frame = Frame("clamped")
    for name, (x, y) in NODES.items():
        frame.node(name, x, y, "fixed")
    frame.node("free", 7.0, 2.0, "fixed")
    member = BeamColumn(
        **SECTION,
        start=SOFT,
        start_inset=inset,
        start_offset=arms[:2],
        end_offset=arms[2:],
        geometry=geometry,
    )
    frame.member("AB", "A", "B", member)
    frame.member_load("AB", qx=q[:2], qy=q[2:], over_offsets=True)
    reactions = {key: force[-1] for key, force in gravity(frame.compile()).reactions().items()}
    stops = [NODES["A"], NODES["A"] + arms[:2], NODES["B"] + arms[2:], NODES["B"]]
    lengths = [float(np.hypot(*(b - a))) for a, b in pairwise(stops)]
    total, done, force, moment = sum(lengths), 0.0, np.zeros(2), 0.0
    for (a, b), length in zip(pairwise(stops), lengths, strict=True):
        for share, weight in ((0.0, 1 / 6), (0.5, 4 / 6), (1.0, 1 / 6)):
            at = (done + share * length) / total
            p = weight * length * np.array([q[0] + at * (q[1] - q[0]), q[2] + at * (q[3] - q[2])])
            x, y = a + share * (b - a)
            force, moment = force + p, moment + x * p[1] - y * p[0]
        done += length
    about = sum(
        reactions[node, "rz"] + x * reactions[node, "uy"] - y * reactions[node, "ux"]
        for node, (x, y) in NODES.items()
    )
    for k, component in enumerate(("ux", "uy")):
        assert sum(reactions[node, component] for node in NODES) == pytest.approx(-force[k], abs=1e-2)
    # Second-order members are in balance where they have moved to.
    moved = 0.02 * np.abs(q).max() * total
    assert about == pytest.approx(-moment, abs=0.02 + (moved if geometry != "linear" else 0.0))


def gerber(a, load):
    """A clamped beam of 6 m with a pin `a` from its left end."""
    frame = Frame("clamped with a pin")
    frame.node("A", 0, 0, "fixed")
    frame.node("B", 6, 0, "fixed")
    frame.member("AB", "A", "B", BeamColumn(**SECTION, start="pinned", start_inset=a))
    frame.member_load("AB", **load)
    return gravity(frame.compile())


@pytest.mark.parametrize("a", [0.4, 1.5, 4.0])
def test_a_pin_in_a_clamped_beam_under_uniform_load(a):
    """Shear in the pin 3q(b⁴ − a⁴)/8(a³ + b³), from equal deflections of both cantilevers (own derivation)."""
    q, b = 2e4, 6.0 - a
    curve = gerber(a, {"qy": -q}).along("AB")
    shear = 0.375 * q * (b**4 - a**4) / (a**3 + b**3)
    tip = -(q * a**4 / 8 + shear * a**3 / 3) / (SECTION["E"] * SECTION["I"])
    at = np.flatnonzero(np.abs(curve.x - a) < 1e-9)
    assert at.size == 2
    assert curve.M[0] == pytest.approx(-(q * a**2 / 2 + shear * a))
    assert curve.M[-1] == pytest.approx(-(q * b**2 / 2 - shear * b))
    assert curve.V[at] == pytest.approx([shear, shear]) and curve.M[at] == pytest.approx([0, 0], abs=1e-4)
    assert curve.v[at] == pytest.approx([tip, tip]) and abs(np.diff(curve.rotation[at])[0]) > 1e-4


@pytest.mark.parametrize("a", [0.4, 1.5, 4.0])
def test_a_point_load_on_a_pin_is_shared_by_stiffness(a):
    """P on the pin of a clamped beam goes to the cantilevers as their 3EI/l³; the shear jumps by P on its outer side."""
    P, b = 3e4, 6.0 - a
    curve = gerber(a, {"qy": -P, "begin": a, "point": True}).along("AB")
    left = P * b**3 / (a**3 + b**3)
    at = np.flatnonzero(np.abs(curve.x - a) < 1e-9)
    assert curve.M[0] == pytest.approx(-left * a) and curve.M[-1] == pytest.approx(-(P - left) * b)
    assert curve.V[at] == pytest.approx([left, left - P])


def test_a_point_load_between_points_is_seen():
    """Where a point load acts x stands twice, with the whole jump of the shear and the peak of the moment."""
    frame = Frame("simple beam")
    frame.node("A", 0, 0, "pinned")
    frame.node("B", 6, 0, "roller")
    frame.member("AB", "A", "B", BeamColumn(**SECTION))
    frame.member_load("AB", qy=-6e4, begin=2.0123, point=True)
    curve = gravity(frame.compile()).along("AB", points=7)
    at = np.flatnonzero(curve.x == 2.0123)
    assert curve.x.size == 9 and np.diff(curve.V[at]) == pytest.approx(-6e4)
    assert curve.M.max() == pytest.approx(6e4 * 2.0123 * (6 - 2.0123) / 6, rel=1e-9)


def test_loads_on_a_rigid_offset_go_to_the_node():
    """A point load on an offset is the same load on the node with its moment; the offset carries its statics."""
    frame, other = framed(), framed()
    for each in (frame, other):
        each.member("AB", "A", "B", BeamColumn(**SECTION, start_offset=(0.3, 0.4)))
    frame.member_load("AB", qx=2e3, qy=-1e4, begin=-0.2, point=True)
    # The load is 0.2 m before the end of an offset of 0.5 m.
    other.load("A", 2e3, -1e4, 0.18 * -1e4 - 0.24 * 2e3)
    one, two = gravity(frame.compile()), gravity(other.compile())
    for component in ("ux", "uy", "rz"):
        assert one.displacement("B", component) == pytest.approx(two.displacement("B", component), rel=1e-9)
    curve = one.along("AB", offsets=True)
    ends = {key: value[-1] for key, value in one.end_forces("AB").items()}
    assert curve.x[0] == pytest.approx(-0.5) and curve.M[0] == pytest.approx(-ends["M_start"])
    at = np.flatnonzero(np.abs(curve.x + 0.2) < 1e-9)
    jump = np.hypot(np.diff(curve.N[at]), np.diff(curve.V[at]))
    assert jump == pytest.approx(np.hypot(2e3, 1e4))


def test_the_side_of_a_hinge_that_slips():
    """A load along the member exactly on an axial force-moment hinge acts on its outer side and leaves it alone."""
    hinge = AxialMomentHinge.example()
    N = []
    for place in (0.6, 0.6 + 1e-3):
        frame = Frame("a bar")
        frame.node("A", 0, 0, "fixed")
        frame.node("B", 6, 0)
        frame.member("AB", "A", "B", BeamColumn(**SECTION, start=hinge, start_inset=0.6))
        frame.member_load("AB", qx=1e3, begin=place, point=True)
        response = gravity(frame.compile())
        place_of = next(p for p in response.system.parts if p.part.role == "start hinge")
        N.append(response.log.force[-1, place_of.first])
    assert pytest.approx([0.0, 1e3], abs=1e-6) == N


def test_stubs_buckle_too():
    """A strut with springs inset in it buckles at the load of its mesh."""
    factors = []
    for meshing in (False, True):
        frame = Frame("strut")
        frame.node("A", 0, 0, "pinned")
        frame.node("B", 4, 0, "roller")
        spring = Elastic(2e6)
        if meshing:
            for name in ("C", "D"):
                frame.node(name, 1.5, 0)
            frame.tie("ux", ("C", "D"))
            frame.tie("uy", ("C", "D"))
            frame.link("hinge", "C", "D", Link(rotation=spring))
            frame.member("AC", "A", "C", BeamColumn(**SECTION))
            frame.member("DB", "D", "B", BeamColumn(**SECTION))
        else:
            frame.member("AB", "A", "B", BeamColumn(**SECTION, start=spring, start_inset=1.5))
        frame.load("B", fx=-1e5)
        factors.append(buckling(frame.compile(), count=1)[0][0])
    assert factors[0] == pytest.approx(factors[1], rel=1e-8)


def test_loads_where_no_member_is_are_refused():
    """Positions beyond the nodes, over_offsets with positions, braces, and insets at rigid ends say what is allowed."""
    frame = framed()
    frame.member("AB", "A", "B", BeamColumn(**SECTION, start_offset=(0.3, 0.4)))
    frame.member("brace", "A", "B", Brace(Elastic(1e8)))
    frame.member_load("AB", qy=1.0, begin=-0.5, end=3.0)
    for wrong in ({"begin": -0.6}, {"end": 60.0}, {"begin": 3.0, "end": 2.0}, {"begin": 60.0, "point": True}):
        with pytest.raises(InputError, match=r"from -0\.5 m"):
            frame.member_load("AB", qy=1.0, **wrong)
    with pytest.raises(InputError, match="over_offsets alone"):
        frame.member_load("AB", qy=1.0, begin=1.0, over_offsets=True)
    with pytest.raises(InputError, match="takes no loads along it"):
        frame.member_load("brace", qy=1.0)
    with pytest.raises(InputError, match="no hinge to place"):
        BeamColumn(**SECTION, start_inset=0.3)


def test_a_file_and_a_cut_keep_loads_on_offsets(tmp_path):
    """Saved and read, or with its member cut in two, the frame answers as before."""
    frame = framed()
    frame.member("AB", "A", "B", BeamColumn(**SECTION, start=SOFT, start_inset=0.5, **OFFSETS))
    frame.member_load("AB", qx=1e3, qy=(-2e4, -1e4), over_offsets=True)
    frame.member_load("AB", qy=-1e4, begin=-0.1, point=True)
    frame.member_load("AB", qy=-1e4, begin=5.8, point=True)
    frame.save(tmp_path / "frame.json")
    expected = gravity(frame.compile()).displacement("B", "rz")
    for other in (Frame.load_from(tmp_path / "frame.json"), cut_at(frame, "AB", 2.0)):
        assert gravity(other.compile()).displacement("B", "rz") == pytest.approx(expected, rel=1e-9)


def test_diagrams_run_from_node_to_node():
    """Diagrams cover stubs and rigid offsets in line with the member; offsets at an angle are left out."""
    frame = Frame("offsets")
    frame.node("A", 0, 0, "fixed")
    frame.node("B", 6, 0, "fixed")
    hinge = {"start": SOFT, "start_inset": 0.5}
    offsets = {
        "in line": ((0.2, 0.0), (-0.3, 0.0)),
        "across": ((0.0, 0.3), (0.0, 0.3)),
        "outwards": ((-0.1, 0.0), (0.1, 0.0)),
    }
    for name, (first, second) in offsets.items():
        member = BeamColumn(**SECTION, **hinge, start_offset=first, end_offset=second)
        frame.member(name, "A", "B", member)
        frame.member_load(name, qy=-2e4, over_offsets=True)
    response = gravity(frame.compile())
    lines = diagram(response, "M")
    assert lines["in line"].x[[0, -1]] == pytest.approx([0.0, 6.0])
    assert lines["in line"].values[0] == pytest.approx(-response.end_forces("in line")["M_start"][-1])
    assert lines["across"].x[[0, -1]] == pytest.approx([0.0, 6.0])
    assert lines["across"].y == pytest.approx(0.3)
    assert lines["outwards"].x[[0, -1]] == pytest.approx([-0.1, 6.1])
