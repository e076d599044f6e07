"""Beam-column: an elastic beam with rigid offsets, whose ends are rigid, released, semi-rigid or lumped hinges.

A hinge is a law (or an axial force-moment hinge) between the node and the beam's end, or at a distance from it
(weakened beam). Its rotation is an inner freedom, which the factorisation eliminates first: the tangent is the exactly
condensed one. Sources: Timoshenko 1921 and Przemieniecki 1968 (stiffness, consistent mass), see `beam_kernels` for the
second-order terms; one-component lumped hinges, Giberson 1967 (from memory).
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.elements.beam_kernels import corotational, corotational_arms, p_delta, section_terms
from frame2d.elements.member import GEOMETRIES, Part, Pieces, Span, described
from frame2d.elements.pair_hinge import pair_part
from frame2d.elements.spring import spring_part
from frame2d.errors import InputError, known, listed, positive, within
from frame2d.materials.law import Law
from frame2d.materials.pair_hinge import PairHinge

#: Length below which a beam is a mistake, m.
SHORTEST = 1e-6
#: Largest radius of gyration (m) of what is still a member (common practice, no source).
DEEPEST = 5.0

#: Ends of a beam-column that are not hinges.
RIGID, PINNED = "rigid", "pinned"

End = Law | PairHinge | str
Hinge = (Law, PairHinge)


@dataclass(frozen=True)
class BeamColumn:
    """Uniform beam-column of modulus `E` (Pa), area `A` (m²), second moment `I` (m⁴).

    `shear_area` As (m²) with Poisson ratio `nu` makes it a Timoshenko beam (0: Euler-Bernoulli). `start` and `end` are
    "rigid", "pinned", the law of a hinge (N·m, rad; an `Elastic` one is a semi-rigid end) or a `PairHinge`
    (`AxialMomentHinge` or one's own), at `start_inset` and `end_inset` (m) from the clear ends. Rigid offsets
    `start_offset`, `end_offset` (m, global axes) lead from the nodes to the clear ends. `mass_per_length` (kg/m) gives a
    consistent mass, `rotary` adds ρI (kg·m). `geometry` is "linear", "p-delta" or "corotational". Raises `InputError` for
    values that cannot be.
    """

    E: float
    A: float
    I: float  # noqa: E741
    shear_area: float = 0.0
    nu: float = 0.3
    start: End = RIGID
    end: End = RIGID
    start_inset: float = 0.0
    end_inset: float = 0.0
    start_offset: tuple[float, float] = (0.0, 0.0)
    end_offset: tuple[float, float] = (0.0, 0.0)
    mass_per_length: float = 0.0
    rotary: float = 0.0
    geometry: str = "linear"

    def __post_init__(self) -> None:
        positive("BeamColumn.E", self.E)
        if self.E < 1e6:
            raise InputError(
                f"BeamColumn.E is {self.E!r} Pa; allowed: 1e6 and above. Likely mistake: a modulus in GPa or MPa "
                "(steel is 210e9 Pa)"
            )
        within("BeamColumn.E", self.E, 1e6, 1e15, hint="the modulus is in Pa (steel is 210e9)")
        positive("BeamColumn.A", self.A)
        positive("BeamColumn.I", self.I)
        if self.A > 100.0 or self.I > 1e4:
            raise InputError(
                f"BeamColumn has A = {self.A!r} m², I = {self.I!r} m⁴; allowed: A <= 100, I <= 1e4. "
                "Likely mistake: values in mm² and mm⁴"
            )
        reach = math.sqrt(self.I / self.A)
        if reach > DEEPEST:
            raise InputError(
                f"BeamColumn has A = {self.A!r} m², I = {self.I!r} m⁴, a radius of gyration of {reach:.3g} m; allowed: up to "
                f"{DEEPEST:g} m. Likely mistake: cm², cm⁴ or mm², mm⁴"
            )
        within("BeamColumn.shear_area", self.shear_area, 0.0, self.A * 1.0001, hint="As is at most the area")
        if 0.0 < self.shear_area < 1e-6 * self.A:
            raise InputError(
                f"BeamColumn.shear_area is {self.shear_area!r} m² for A = {self.A!r} m²; allowed: 0 (no shear flexibility) "
                "or at least 1e-6 of the area"
            )
        within("BeamColumn.nu", self.nu, -1.0, 0.5, open_low=True)
        within("BeamColumn.start_inset", self.start_inset, 0.0, 1e5, hint="lengths in mm; they are in m")
        within("BeamColumn.end_inset", self.end_inset, 0.0, 1e5, hint="lengths in mm; they are in m")
        within("BeamColumn.mass_per_length", self.mass_per_length, 0.0, 1e9, hint="kg/m, not N/m")
        within("BeamColumn.rotary", self.rotary, 0.0, 1e9)
        known("BeamColumn.geometry", self.geometry, GEOMETRIES)
        for name in ("start_inset", "end_inset"):
            if 0.0 < getattr(self, name) < SHORTEST:
                raise InputError(
                    f"BeamColumn.{name} is {getattr(self, name)!r} m; allowed: 0, or {SHORTEST:g} m and above"
                )
        for name in ("start", "end"):
            end = getattr(self, name)
            if not isinstance(end, Hinge):
                known(f"BeamColumn.{name}", end, (RIGID, PINNED))
            inset = getattr(self, f"{name}_inset")
            if isinstance(end, str) and end == RIGID and inset > 0.0:
                raise InputError(
                    f"BeamColumn.{name}_inset is {inset!r} m at a rigid {name}; allowed: 0 m, there is no hinge to place. "
                    f"Likely mistake: {name}= was left out (a law, or 'pinned'), or a rigid offset was meant"
                )
        for name in ("start_offset", "end_offset"):
            offset = listed(f"BeamColumn.{name}", getattr(self, name))
            if len(offset) != 2:
                raise InputError(f"BeamColumn.{name} is {offset!r}; allowed: two lengths (x, y) in m")
            for value in offset:
                within(f"BeamColumn.{name}", value, -1e5, 1e5, hint="lengths in mm; they are in m")
            object.__setattr__(self, name, (float(offset[0]), float(offset[1])))

    @classmethod
    def from_section(
        cls, section: Any, E: float = 210e9, shear: bool = False, **options: Any
    ) -> "BeamColumn":
        """Beam-column with A, I (and the shear area on request) of a `frame2d.sections.Section`."""
        if shear:
            options["shear_area"] = section.As
        return cls(E=E, A=section.A, I=section.I, **options)

    @property
    def shear_stiffness(self) -> float:
        """G·As, N; 0 when the beam is rigid in shear."""
        return self.E / (2.0 * (1.0 + self.nu)) * self.shear_area

    def laws(self) -> dict[str, Any]:
        """Hinge laws by place."""
        return {
            name: end for name, end in (("start", self.start), ("end", self.end)) if isinstance(end, Hinge)
        }

    def describe(self) -> dict[str, Any]:
        """Plain data."""
        return described(self)

    def clear(self, xi: float, yi: float, xj: float, yj: float) -> tuple[float, float, float, float, float]:
        """First clear end, direction and clear length."""
        x0, y0 = xi + self.start_offset[0], yi + self.start_offset[1]
        dx, dy = xj + self.end_offset[0] - x0, yj + self.end_offset[1] - y0
        L = math.hypot(dx, dy)
        if L < SHORTEST:
            raise InputError(
                f"the clear length is {L:g} m; allowed: {SHORTEST:g} m and above. Likely mistake: both nodes at one point (use a link), "
                "or offsets as long as the member"
            )
        return x0, y0, dx / L, dy / L, L

    def pieces(self, xi: float, yi: float, xj: float, yj: float) -> Pieces:
        """Beam, hinges and stubs between two nodes."""
        _, _, cx, cy, L = self.clear(xi, yi, xj, yj)
        stubs = [self.start_inset, self.end_inset]
        middle = L - sum(stubs)
        if middle < SHORTEST:
            raise InputError(
                f"insets {stubs[0]:g} m and {stubs[1]:g} m leave nothing of the clear length {L:g} m. "
                "Likely mistake: an inset in mm, or measured from the far node"
            )
        inner = ""
        # For each end: the rows (ux, uy, rotation of arm, rotation of beam end) of the interior beam, as freedoms.
        layout: list[list[tuple[list[int], list[float]]]] = []
        hinges: list[tuple[int, int, End, str]] = []
        stub_ends: list[tuple[int, list[int]]] = []
        slips: dict[str, int] = {}
        for side, (end, inset) in enumerate(zip((self.start, self.end), stubs, strict=True)):
            node = [3 * side, 3 * side + 1, 3 * side + 2]
            if end == RIGID:
                layout.append(
                    [([node[0]], [1.0]), ([node[1]], [1.0]), ([node[2]], [1.0]), ([node[2]], [1.0])]
                )
                continue
            role = "start hinge" if side == 0 else "end hinge"
            if inset == 0.0:
                tip = node
                inside = 6 + len(inner)
                inner += "r"
            else:
                first = 6 + len(inner)
                inner += "uurr"
                tip, inside = [first, first + 1, first + 2], first + 3
            # An axial force-moment hinge lets the beam's end slip along the member.
            slip: list[int] = []
            if isinstance(end, PairHinge):
                slip = [6 + len(inner)]
                slips[role] = slip[0]
                inner += "u"
            along = [(cx, cy)] * len(slip)
            layout.append(
                [
                    ([tip[0], *slip], [1.0, *(x for x, _ in along)]),
                    ([tip[1], *slip], [1.0, *(y for _, y in along)]),
                    ([tip[2]], [1.0 if inset == 0.0 else 0.0]),
                    ([inside], [1.0]),
                ]
            )
            hinges.append((tip[2], inside, end, role))
            if inset > 0.0:
                stub_ends.append((side, tip))
        size = 6 + len(inner)
        moves = {tip[k]: ((1.0, 0.0), (0.0, 1.0))[k] for _, tip in stub_ends for k in range(2)}
        pieces = Pieces(inner, np.zeros((size, size)), [], np.zeros((size, size)), np.zeros((size, size)))
        pieces.translation = [moves.get(6 + k, (0.0, 0.0)) for k in range(len(inner))]
        offsets = [
            self.start_offset if not (self.start != RIGID and stubs[0] > 0.0) else (0.0, 0.0),
            self.end_offset if not (self.end != RIGID and stubs[1] > 0.0) else (0.0, 0.0),
        ]
        self._beam(pieces, _rows(layout, size), offsets, cx, cy, middle, "beam", stubs[0])
        for side, tip in stub_ends:
            rows = np.zeros((8, size))
            node = [3 * side, 3 * side + 1, 3 * side + 2, 3 * side + 2]
            far = [*tip, tip[2]]
            for a, (near, there) in enumerate(zip(node, far, strict=True)):
                first, second = (near, there) if side == 0 else (there, near)
                rows[a, first] = 1.0
                rows[4 + a, second] = 1.0
            arms = [self.start_offset, (0.0, 0.0)] if side == 0 else [(0.0, 0.0), self.end_offset]
            role, begin = ("start stub", 0.0) if side == 0 else ("end stub", L - stubs[1])
            self._beam(pieces, rows, arms, cx, cy, stubs[side], role, begin)
        pieces.spans.sort(key=lambda span: span.begin)
        for outside, inside, law, role in hinges:
            if isinstance(law, PairHinge):
                rows = np.zeros((2, size))
                sign = -1.0 if role == "start hinge" else 1.0
                rows[0, slips[role]] = -sign
                rows[1, outside], rows[1, inside] = sign, -sign
                pieces.parts.append(pair_part(law, rows, role))
            elif isinstance(law, Law):
                row = np.zeros(size)
                # Positive hinge moment with positive moment diagram: beam end against node, seen from the beam.
                sign = -1.0 if role == "start hinge" else 1.0
                row[outside], row[inside] = sign, -sign
                pieces.parts.append(spring_part(law, row, role))
        return pieces

    def _beam(
        self,
        pieces: Pieces,
        rows: np.ndarray,
        arms: list[tuple[float, float]],
        cx: float,
        cy: float,
        L: float,
        role: str,
        begin: float,
    ) -> None:
        """Add one elastic length: `rows` give ux, uy, arm rotation, end rotation of both ends."""
        size = rows.shape[1]
        terms = section_terms(self.E, self.A, self.I, self.shear_stiffness, L)
        ends = np.zeros((6, size))
        for side in range(2):
            ax, ay = arms[side]
            ends[3 * side] = rows[4 * side] - ay * rows[4 * side + 2]
            ends[3 * side + 1] = rows[4 * side + 1] + ax * rows[4 * side + 2]
            ends[3 * side + 2] = rows[4 * side + 3]
        local = rotation_matrix(cx, cy) @ ends
        elastic = local.T @ local_stiffness(terms, L) @ local
        pieces.damped += elastic
        if self.mass_per_length > 0.0:
            phi = (
                12.0 * self.E * self.I / (self.shear_stiffness * L * L) if self.shear_stiffness > 0.0 else 0.0
            )
            pieces.mass += local.T @ consistent_mass(self.mass_per_length, self.rotary, L, phi) @ local
        pieces.spans.append(Span(role, begin, L, local))
        if role == "beam":
            pieces.beam = local
        parameters = np.concatenate([[L, cx, cy], terms])
        if self.geometry == "linear":
            pieces.stiffness += elastic
        elif self.geometry == "p-delta":
            pieces.parts.append(Part(p_delta, parameters, np.zeros(0), ends, role))
        elif any(any(arm) for arm in arms):
            pieces.parts.append(
                Part(corotational_arms, np.concatenate([parameters, *arms]), np.zeros(0), rows, role)
            )
        else:
            pieces.parts.append(Part(corotational, parameters, np.zeros(0), ends, role))


def _rows(layout: list[list[tuple[list[int], list[float]]]], size: int) -> np.ndarray:
    rows = np.zeros((8, size))
    for side in range(2):
        for a, (columns, weights) in enumerate(layout[side]):
            rows[4 * side + a, columns] = weights
    return rows


def rotation_matrix(cx: float, cy: float) -> np.ndarray:
    """Global to local axes of both ends."""
    block = np.array([[cx, cy, 0.0], [-cy, cx, 0.0], [0.0, 0.0, 1.0]])
    return np.kron(np.eye(2), block)


def local_stiffness(terms: np.ndarray, L: float) -> np.ndarray:
    """First-order stiffness in local axes, 6 × 6."""
    EAL, kii, kij = terms[:3]
    natural = np.array([[EAL, 0.0, 0.0], [0.0, kii, kij], [0.0, kij, kii]])
    to_natural = np.array([[-1.0, 0, 0, 1, 0, 0], [0, 1 / L, 1, 0, -1 / L, 0], [0, 1 / L, 0, 0, -1 / L, 1]])
    return to_natural.T @ natural @ to_natural


def shape(x: float, L: float, phi: float) -> tuple[np.ndarray, np.ndarray]:
    """Axial and transverse displacement at x from the six local end displacements (exact for end loads)."""
    s = x / L
    axial = np.array([1 - s, 0, 0, s, 0, 0])
    a = 1.0 / (1.0 + phi)
    v = a * np.array(
        [
            0.0,
            1 + phi * (1 - s) - 3 * s**2 + 2 * s**3,
            L * (s - 2 * s**2 + s**3 + 0.5 * phi * (s - s**2)),
            0.0,
            3 * s**2 - 2 * s**3 + phi * s,
            L * (s**3 - s**2 + 0.5 * phi * (s**2 - s)),
        ]
    )
    return axial, v


def turning(x: float, L: float, phi: float) -> np.ndarray:
    """Rotation of the section at x from the six local end displacements."""
    s = x / L
    a = 1.0 / (1.0 + phi)
    return a * np.array(
        [
            0.0,
            6 * (s**2 - s) / L,
            1 + phi - 4 * s - phi * s + 3 * s**2,
            0.0,
            6 * (s - s**2) / L,
            3 * s**2 - 2 * s + phi * s,
        ]
    )


def consistent_mass(per_length: float, rotary: float, L: float, phi: float) -> np.ndarray:
    """Consistent mass in local axes by Gauss integration of the shape functions (Przemieniecki 1968, ch. 11)."""
    points, weights = np.polynomial.legendre.leggauss(5)
    mass = np.zeros((6, 6))
    for point, weight in zip(points, weights, strict=True):
        x = 0.5 * L * (1.0 + point)
        axial, across = shape(x, L, phi)
        turn = turning(x, L, phi)
        mass += 0.5 * L * weight * per_length * (np.outer(axial, axial) + np.outer(across, across))
        mass += 0.5 * L * weight * rotary * np.outer(turn, turn)
    return mass
