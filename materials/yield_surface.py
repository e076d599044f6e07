"""Convex yield surfaces for axial force and moment: φ(n, m) ≤ 0 with n = N/Np, m = M/Mp.

| constructor | surface | source |
| --- | --- | --- |
| `linear` | abs(n) + abs(m) = 1 | common lower bound, no source |
| `rolled_section` | abs(m) = 1.18·(1 − abs(n)) ≤ 1 | ASCE Manual 41, 1971 (from memory) |
| `en_section` | abs(m) = (1 − abs(n))/(1 − a/2) ≤ 1 | EN 1993-1-1:2005, 6.2.9.1(5) |
| `bilinear` | abs(n) + 8/9·abs(m) = 1; abs(n)/2 + abs(m) = 1 if abs(n) < 0.2 | AISC 360, eq. H1-1 |
| `Parabola()` | abs(m) + n² = 1, exact for a rectangle | Horne, Plastic Theory of Structures, 1971 |
| `Parabola(flat=a)` | abs(m) = 1 − ((abs(n) − a)/(1 − a))² if abs(n) > a, else 1 | EN 1993-1-1, 6.2.9.1(6) |
| `ConvexPolygon` | any polygon around (0, 0), e.g. of a composite splice | a section analysis |
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import InputError, finite, known, positive, within

POLYGON, PARABOLA = 0.0, 1.0


@dataclass(frozen=True)
class YieldSurface:
    """What every surface answers; n and m may be numbers or arrays of one shape."""

    def phi(self, n: Any, m: Any) -> Any:
        """Yield function, 0 on the surface, negative inside, −1 at the origin, convex."""
        raise NotImplementedError

    def gradient(self, n: float, m: float) -> np.ndarray:
        """(∂φ/∂n, ∂φ/∂m), shape (2,); at a corner that of one of the faces."""
        raise NotImplementedError

    def hessian(self, n: float, m: float) -> np.ndarray:
        """Second derivatives of φ, shape (2, 2); those of the face at a corner."""
        raise NotImplementedError

    def half_planes(self, tolerance: float = 1e-3) -> np.ndarray:
        """Rows (a, b, c) of a·n + b·m ≤ c, counter-clockwise, c = 1: a polygon that lies inside the surface.

        It is exact for polygons; for a smooth surface no point of it is further than `tolerance` from the
        surface in m.
        """
        raise NotImplementedError

    def data(self) -> np.ndarray:
        """Numbers that `frame2d.materials.axial_moment.return_map` reads: kind, size, numbers."""
        raise NotImplementedError

    def describe(self) -> dict[str, Any]:
        """Name and parameters as plain data, from which `build_surface` makes the surface again."""
        raise NotImplementedError

    def factor(self, n: float, m: float) -> float:
        """Load factor λ > 0 at which λ·(n, m) reaches the surface; infinite for n = m = 0."""
        if n == 0.0 and m == 0.0:
            return np.inf
        high = 1.0
        while self.phi(high * n, high * m) < 0.0:
            high *= 2.0
        return self._root(lambda factor: self.phi(factor * n, factor * m), 0.0, high)

    def reduced_moment(self, n: float, sign: float = 1.0) -> float:
        """Moment M/Mp of the given `sign` carried beside n; raises `InputError` if there is none."""
        side = 1.0 if sign > 0.0 else -1.0
        # For an unsymmetric section the moment with the largest reserve need not be zero: start from the
        # least φ.
        trial = self._moment_inside(n)
        high = 1.0
        while self.phi(n, trial + side * high) < 0.0:
            high *= 2.0
        return trial + side * self._root(lambda step: self.phi(n, trial + side * step), 0.0, high)

    def _moment_inside(self, n: float) -> float:
        if self.phi(n, 0.0) <= 0.0:
            return 0.0
        moments = np.linspace(-10.0, 10.0, 20001)
        trial = float(moments[int(np.argmin(self.phi(np.full_like(moments, n), moments)))])
        if self.phi(n, trial) > 0.0:
            raise InputError(
                f"n is {n:g}; allowed: what the section carries. Likely mistake: N not divided by Np"
            )
        return trial

    @staticmethod
    def _root(function: Any, low: float, high: float) -> float:
        from scipy.optimize import brentq

        return float(brentq(function, low, high, xtol=1e-15, rtol=1e-14))


@dataclass(frozen=True)
class ConvexPolygon(YieldSurface):
    """Convex polygon of `vertices` ((n, m), …) in any order, with (0, 0) strictly inside."""

    vertices: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        try:
            points = np.array([(finite("vertex", n), finite("vertex", m)) for n, m in self.vertices])
        except (TypeError, ValueError) as error:
            if isinstance(error, InputError):
                raise
            raise InputError(f"ConvexPolygon.vertices is {self.vertices!r}; allowed: pairs (n, m)") from None
        if len(points) < 3:
            raise InputError(f"ConvexPolygon.vertices has {len(points)} points; allowed: at least 3")
        points = points[np.argsort(np.arctan2(points[:, 1], points[:, 0]))]
        edges = np.roll(points, -1, axis=0) - points
        around = points[:, 0] * edges[:, 1] - points[:, 1] * edges[:, 0]
        following = np.roll(edges, -1, axis=0)
        turn = edges[:, 0] * following[:, 1] - edges[:, 1] * following[:, 0]
        if np.min(around) <= 1e-9 or np.min(turn) <= 1e-12:
            raise InputError(
                "ConvexPolygon.vertices do not form a convex polygon around (0, 0)."
                " Likely mistake: a vertex repeated, inside the others or in line with two of them;"
                " or forces not divided by Np and Mp"
            )
        object.__setattr__(self, "vertices", tuple((float(n), float(m)) for n, m in points))

    def half_planes(self, tolerance: float = 1e-3) -> np.ndarray:
        """Rows (a, b, 1) of a·n + b·m ≤ 1, counter-clockwise; exact."""
        points = np.array(self.vertices)
        edges = np.roll(points, -1, axis=0) - points
        around = points[:, 0] * edges[:, 1] - points[:, 1] * edges[:, 0]
        return np.column_stack([edges[:, 1] / around, -edges[:, 0] / around, np.ones(len(points))])

    def phi(self, n: Any, m: Any) -> Any:
        """max(a·n + b·m) − 1 over the faces."""
        planes = self.half_planes()
        return np.max(np.multiply.outer(planes[:, 0], n) + np.multiply.outer(planes[:, 1], m), axis=0) - 1.0

    def gradient(self, n: float, m: float) -> np.ndarray:
        """Normal (a, b) of the face that governs."""
        planes = self.half_planes()
        return np.asarray(planes[int(np.argmax(planes[:, 0] * n + planes[:, 1] * m)), :2])

    def hessian(self, n: float, m: float) -> np.ndarray:
        """Zero: faces are flat."""
        return np.zeros((2, 2))

    def data(self) -> np.ndarray:
        """Kind, number of faces, (a, b) of each."""
        planes = self.half_planes()
        return np.concatenate([[POLYGON, len(planes)], planes[:, :2].ravel()])

    def describe(self) -> dict[str, Any]:
        return {"surface": "ConvexPolygon", "vertices": [list(vertex) for vertex in self.vertices]}


@dataclass(frozen=True)
class Parabola(YieldSurface):
    """abs(m) + γ² ≤ 1, γ = max(0, abs(n) − a)/(1 − a) with a = `flat` in [0, 1)."""

    flat: float = 0.0

    def __post_init__(self) -> None:
        within(
            "Parabola.flat", self.flat, 0.0, 0.95, hint="it is a of EN 1993-1-1, 6.2.9.1, a share of the area"
        )

    def _gamma(self, n: Any) -> Any:
        return np.maximum(np.abs(n) - self.flat, 0.0) / (1.0 - self.flat)

    def phi(self, n: Any, m: Any) -> Any:
        """abs(m) + γ² − 1."""
        return np.abs(m) + self._gamma(n) ** 2 - 1.0

    def gradient(self, n: float, m: float) -> np.ndarray:
        """(2γ·sgn(n)/(1 − a), sgn(m))."""
        return np.array([2.0 * self._gamma(n) * np.sign(n) / (1.0 - self.flat), 1.0 if m >= 0.0 else -1.0])

    def hessian(self, n: float, m: float) -> np.ndarray:
        """2/(1 − a)² in n where the parabola governs."""
        return np.diag([2.0 / (1.0 - self.flat) ** 2 if abs(n) >= self.flat else 0.0, 0.0])

    def half_planes(self, tolerance: float = 1e-3) -> np.ndarray:
        """Chords: a chord of γ² over Δγ lies at most Δγ²/4 inside."""
        positive("tolerance", tolerance)
        count = int(np.ceil(1.0 / (2.0 * np.sqrt(tolerance))))
        gamma = np.linspace(0.0, 1.0, count + 1)
        n, m = self.flat + (1.0 - self.flat) * gamma, 1.0 - gamma**2
        quarter = list(zip(n, m, strict=True))
        vertices = {(a * x, b * y) for x, y in quarter for a in (1.0, -1.0) for b in (1.0, -1.0)}
        return ConvexPolygon(tuple((x + 0.0, y + 0.0) for x, y in vertices)).half_planes()

    def data(self) -> np.ndarray:
        """Kind, unused, flat part."""
        return np.array([PARABOLA, 0.0, self.flat])

    def describe(self) -> dict[str, Any]:
        return {"surface": "Parabola", "flat": self.flat}


def linear() -> ConvexPolygon:
    """Straight line between Np and Mp."""
    return ConvexPolygon(((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)))


def rolled_section() -> ConvexPolygon:
    """The 1.18 rule for rolled I sections about the strong axis."""
    return _plateau(1.0 - 1.0 / 1.18)


def en_section(a: float) -> ConvexPolygon:
    """EN 1993-1-1, 6.2.9.1(5): I section about the strong axis, a = (A − 2·b·tf)/A but at most 0.5."""
    within("a", a, 0.0, 0.5, open_low=True, hint="a = (A − 2·b·tf)/A, and not above 0.5")
    return _plateau(0.5 * a)


def bilinear() -> ConvexPolygon:
    """Two straight lines that meet at n = 0.2, m = 0.9."""
    return ConvexPolygon(tuple(_mirrored([(1.0, 0.0), (0.2, 0.9), (0.0, 1.0)])))


def _plateau(n: float) -> ConvexPolygon:
    return ConvexPolygon(tuple(_mirrored([(1.0, 0.0), (n, 1.0)])))


def _mirrored(quarter: Iterable[tuple[float, float]]) -> set[tuple[float, float]]:
    return {(a * n + 0.0, b * m + 0.0) for n, m in quarter for a in (1.0, -1.0) for b in (1.0, -1.0)}


def build_surface(description: dict[str, Any]) -> YieldSurface:
    """Make a surface of what `YieldSurface.describe` returned; raises `InputError`."""
    values = dict(description)
    kind = known("surface", values.pop("surface", None), ("ConvexPolygon", "Parabola"))
    try:
        if kind == "Parabola":
            return Parabola(**values)
        return ConvexPolygon(tuple(tuple(vertex) for vertex in values.pop("vertices")), **values)
    except (KeyError, TypeError) as error:
        raise InputError(f"surface {kind} does not take these parameters: {error}") from None
