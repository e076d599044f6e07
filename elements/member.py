"""What a member family is: the duties of everything that ties two nodes, and the parts it is compiled to."""

from dataclasses import dataclass, field, fields
from typing import Any, Protocol, runtime_checkable

import numpy as np

from frame2d.kernels import Kernel

#: How exactly a member follows its own motion: not at all, to second order, fully.
GEOMETRIES = ("linear", "p-delta", "corotational")


@dataclass(frozen=True)
class Part:
    """A piece with its own kernel: deformations d = transform · (member's freedoms)."""

    kernel: Kernel
    parameters: np.ndarray
    memory: np.ndarray
    #: Deformations (rows) from the member's freedoms (columns).
    transform: np.ndarray
    #: What the part is, for results and messages: "beam", "start hinge", "axial", …
    role: str
    #: The law inside, if it is one; then its single deformation is the law's.
    law: Any = None
    #: Whether the tangent is always symmetric; False (follower forces, non-associated flow) takes a general solver.
    symmetric: bool = True


@dataclass(frozen=True)
class Span:
    """An elastic length of a member, `begin` and `length` in m along its clear length."""

    role: str
    begin: float
    length: float
    #: Six end displacements in local axes (rows) from the member's freedoms (columns).
    rows: np.ndarray


@dataclass
class Pieces:
    """A member between two given points, as the engine sees it.

    Freedoms: ux, uy, rz of the first node, of the second, then `inner` ones ("u" for lengths, "r" for rotations).
    All matrices are square in these freedoms, in global axes, N/m, N, N·m.
    """

    inner: str = ""
    #: What is constant: force = stiffness · displacement.
    stiffness: np.ndarray = field(default_factory=lambda: np.zeros((6, 6)))
    parts: list[Part] = field(default_factory=list)
    #: Stiffness that may draw stiffness-proportional damping: elastic members, never laws (Hall 2006; Charney 2008).
    damped: np.ndarray = field(default_factory=lambda: np.zeros((6, 6)))
    mass: np.ndarray = field(default_factory=lambda: np.zeros((6, 6)))
    #: Transform from the member's freedoms to the elastic beam's six end displacements in local axes, if there is one.
    beam: np.ndarray | None = None
    #: Elastic lengths from the start to the end, for loads along the member: the beam and stubs outside inset hinges.
    spans: list[Span] = field(default_factory=list)

    #: How each inner freedom moves when the whole member shifts by (1, 0) and by (0, 1); empty: not at all.
    translation: list[tuple[float, float]] = field(default_factory=list)

    @property
    def size(self) -> int:
        """Number of freedoms, inner ones included."""
        return 6 + len(self.inner)


def described(member: Any) -> dict[str, Any]:
    """Family and properties of a member as plain data, laws and hinges as their own descriptions."""
    values: dict[str, Any] = {"family": type(member).__name__}
    for entry in fields(member):
        value = getattr(member, entry.name)
        values[entry.name] = value.describe() if hasattr(value, "describe") else value
    return values


@runtime_checkable
class Member(Protocol):
    """A member or link family: a frozen dataclass of named, validated properties that does the following.

    1. `pieces(xi, yi, xj, yj)` returns the member between two points, with every matrix of full size.
    2. Nonlinear pieces are `Part`s, whose kernel ``status = kernel(p, m0, d, w, dt, c, scratch, f, k, e, m1)``
       (decorated with `member_kernel`) reads parameters, committed memory, deformations d and their rates w, and
       writes forces f, tangent k = ∂f/∂d + c·∂f/∂w (row by row; symmetric, or the part says `symmetric=False`),
       recoverable energy e[0] and all of m1.
    3. `laws()` names the laws inside, so that a device is found by its label; memory of a law part begins with the
       deformation at which the device is free of stress.
    4. `describe()` returns plain data from which `frame2d.elements.build` makes it again.
    """

    def pieces(self, xi: float, yi: float, xj: float, yj: float) -> Pieces: ...

    def laws(self) -> dict[str, Any]: ...

    def describe(self) -> dict[str, Any]: ...
