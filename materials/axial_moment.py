"""Axial force-moment hinge: convex yield surface, associated flow, closest-point return mapping.

In x = (N/Np, M/Mp), with K̂ = S⁻¹KS⁻¹ and S = diag(Np, Mp), the step of the plastic deformation π (times S,
in J) solves

    x = K̂(S·d − π),  ξ = x − α,  f(ξ) ≤ 1 + hᵢ·κ,  π̇ = λ·∂f/∂ξ,  α̇ = hₖ·π̇,  κ̇ = λ

f is max(a·n + b·m) of a polygon (isotropic hardening then enlarges it in proportion) or abs(m) + γ(n)² of a
parabola. Corners are exact: one or two faces are active, as the closest point demands. The tangent is that of
the discrete map.

Source: closest-point projection and multi-surface plasticity, Simo & Hughes, Computational Inelasticity,
1998, ch. 3 and 5 (from memory); associated flow of hinges, Neal, The Plastic Methods of Structural Analysis,
1956.
"""

import math
from dataclasses import dataclass
from typing import Any, ClassVar, NamedTuple

import numpy as np

from frame2d.errors import Frame2dError, InputError, positive, within
from frame2d.kernels import NOT_CONVERGED, OK, Kernel, at, compiled
from frame2d.materials.pair import call_pair, pair_kernel
from frame2d.materials.pair_hinge import PairHinge, register_hinge
from frame2d.materials.yield_surface import POLYGON, YieldSurface, en_section

#: Relative distance outside the surface that counts as on it.
TOUCH = 1e-12
# Parameters of a hinge before those of its surface: Np, Mp, K̂11, K̂12, K̂22, hₖ, hᵢ.
_SURFACE = 7


@compiled
def _excess(face, n, m, size):  # type: ignore[no-untyped-def]
    """How far (n, m) lies beyond a face of the polygon grown to `size`."""
    return face[0] * n + face[1] * m - size


@compiled
def _worst(surface, n, m, size):  # type: ignore[no-untyped-def]
    """Face that is exceeded most, and by how much."""
    worst, most = 0, -1e300
    for i in range(int(surface[1])):
        excess = _excess(at(surface, 2 + 2 * i), n, m, size)
        if excess > most:
            worst, most = i, excess
    return worst, most


@compiled
def _pulled(a, b, G11, G12, G22, c, d):  # type: ignore[no-untyped-def]
    """(a, b)·G·(c, d)."""
    return a * (G11 * c + G12 * d) + b * (G12 * c + G22 * d)


@compiled
def _corner(surface, i, j, n, m, size, G11, G12, G22, hi):  # type: ignore[no-untyped-def]
    """Multipliers of faces i and j together, and the inverse of their matrix."""
    one, two = at(surface, 2 + 2 * i), at(surface, 2 + 2 * j)
    A11 = _pulled(one[0], one[1], G11, G12, G22, one[0], one[1]) + hi
    A12 = _pulled(one[0], one[1], G11, G12, G22, two[0], two[1]) + hi
    A22 = _pulled(two[0], two[1], G11, G12, G22, two[0], two[1]) + hi
    determinant = A11 * A22 - A12 * A12
    B11, B12, B22 = A22 / determinant, -A12 / determinant, A11 / determinant
    f1, f2 = _excess(one, n, m, size), _excess(two, n, m, size)
    return B11 * f1 + B12 * f2, B12 * f1 + B22 * f2, B11, B12, B22


@compiled
def _polygon(surface, n, m, size, G11, G12, G22, hi, out):  # type: ignore[no-untyped-def]
    """Active faces of the closest point.

    Writes π (2), λ, and the matrix D with dπ = D·dx_trial (D11, D12, D22) to `out`.
    """
    count = int(surface[1])
    for i in range(7):
        out[i] = 0.0
    i, most = _worst(surface, n, m, size)
    tolerance = TOUCH * (size + abs(most))
    if most <= tolerance:
        return OK
    for _ in range(2 * count):
        face = at(surface, 2 + 2 * i)
        a, b = face[0], face[1]
        A = _pulled(a, b, G11, G12, G22, a, b) + hi
        step = max(_excess(face, n, m, size), 0.0) / A
        p0, p1 = step * a, step * b
        n1, m1, size1 = n - G11 * p0 - G12 * p1, m - G12 * p0 - G22 * p1, size + hi * step
        j, excess = _worst(surface, n1, m1, size1)
        if excess <= tolerance:
            out[0], out[1], out[2] = p0, p1, step
            out[3], out[4], out[5] = a * a / A, a * b / A, b * b / A
            return OK
        # Along the face towards the one that is exceeded: its neighbour there is active too, or takes over.
        ahead = (j - i) % count
        j = (i + 1) % count if 2 * ahead <= count else (i - 1) % count
        if _excess(at(surface, 2 + 2 * j), n1, m1, size1) <= tolerance:
            j = (i - 1) % count if 2 * ahead <= count else (i + 1) % count
        one, two, B11, B12, B22 = _corner(surface, i, j, n, m, size, G11, G12, G22, hi)
        if one >= 0.0 and two >= 0.0:
            c, d = surface[2 + 2 * j], surface[3 + 2 * j]
            p0, p1 = one * a + two * c, one * b + two * d
            out[0], out[1], out[2] = p0, p1, one + two
            out[3] = B11 * a * a + 2.0 * B12 * a * c + B22 * c * c
            out[4] = B11 * a * b + B12 * (a * d + b * c) + B22 * c * d
            out[5] = B11 * b * b + 2.0 * B12 * b * d + B22 * d * d
            return OK
        i = j
    return NOT_CONVERGED


@compiled
def _face_of_parabola(flat, sign, n, m, size, G11, G12, G22, hi, out):  # type: ignore[no-untyped-def]
    """Closest point on the face sign·m + γ² = size; writes π, λ, D; returns m there, and whether found."""
    wide = 1.0 - flat
    curve = 2.0 / (wide * wide)
    low, high, step = 0.0, 1e300, 0.0
    n1 = m1 = normal = bend = 0.0
    found = False
    scale = size + abs(n) + abs(m)
    for _ in range(200):
        # n₁ + λ(G11·f′(n₁) + G12·sign) = n, which is linear on each side of the flat part
        free = n - step * G12 * sign
        n1, normal, bend = free, 0.0, 0.0
        if abs(free) >= flat:
            size_n = (abs(free) + step * G11 * curve * flat) / (1.0 + step * G11 * curve)
            n1 = math.copysign(size_n, free)
            normal = math.copysign(curve * (size_n - flat), free)
            bend = curve
        m1 = m - step * (G12 * normal + G22 * sign)
        gamma = max(abs(n1) - flat, 0.0) / wide
        residual = sign * m1 + gamma * gamma - size - hi * step
        if abs(residual) <= 1e-14 * scale * scale or high - low <= 4e-16 * high:
            found = True
            break
        if residual > 0.0:
            low = step
        else:
            high = step
        dn = -(G11 * normal + G12 * sign) / (1.0 + step * G11 * bend)
        dm = -(G12 * normal + G22 * sign) - step * G12 * bend * dn
        slope = sign * dm + normal * dn - hi
        following = step - residual / slope if slope < 0.0 else 1e300
        if low < following < high:
            step = following
        else:
            step = 0.5 * (low + high) if high < 1e300 else 2.0 * step + 1.0 / (G22 + hi)
    # dξ = P(dx − G·∇f·dλ) with P = (1 + λG∇²f)⁻¹; D = G⁻¹(1 − P + P·G∇f∇fᵀP/(∇fᵀPG∇f + hᵢ))
    p = 1.0 / (1.0 + step * bend * G11)
    q = -step * bend * G12 * p  # P = [[p, 0], [q, 1]]
    g0, g1 = G11 * normal + G12 * sign, G12 * normal + G22 * sign
    r0, r1 = p * g0, q * g0 + g1
    left0, left1 = normal * p + sign * q, sign
    A = normal * r0 + sign * r1 + hi
    E11, E12 = 1.0 - p + r0 * left0 / A, r0 * left1 / A
    E21, E22 = -q + r1 * left0 / A, r1 * left1 / A
    determinant = G11 * G22 - G12 * G12
    out[0], out[1], out[2] = step * normal, step * sign, step
    out[3] = (G22 * E11 - G12 * E21) / determinant
    out[4] = (G22 * E12 - G12 * E22) / determinant
    out[5] = (G11 * E22 - G12 * E12) / determinant
    return m1, found


@compiled
def _tip_of_parabola(flat, n, m, size, G11, G12, G22, hi, out):  # type: ignore[no-untyped-def]
    """Closest point at m = 0, where both faces meet; writes π, λ, D; returns whether both are active."""
    stiff = G11 - G12 * G12 / G22
    aim = n - G12 * m / G22
    sign = 1.0 if aim > 0.0 else -1.0
    wide = 1.0 - flat
    both = 0.0
    low, high = (
        0.0,
        max(0.0, (abs(aim) - flat - wide * math.sqrt(size)) * wide / (2.0 * math.sqrt(size) * stiff)),
    )
    root = math.sqrt(size)
    for _ in range(100):
        root = math.sqrt(size + hi * both)
        residual = flat + wide * root + stiff * 2.0 * root / wide * both - abs(aim)
        if abs(residual) <= 1e-15 * abs(aim) or (both > 0.0 and high - low <= 4e-16 * high):
            break
        if residual > 0.0:
            high = both
        else:
            low = both
        slope = 0.5 * wide * hi / root + stiff * (2.0 * root + both * hi / root) / wide
        both -= residual / slope
        if not low <= both <= high:
            both = 0.5 * (low + high)
    normal = sign * 2.0 * root / wide
    difference = (m - G12 * normal * both) / G22
    # (n, m) move by C·dπ + G·dπ: C is the growth of the tip, hᵢ·dn/ds over dπ₁/dμ.
    turned = 2.0 * root / wide + both * hi / (wide * root)
    C = 0.5 * wide / root * hi / turned
    determinant = (G11 + C) * G22 - G12 * G12
    out[0], out[1], out[2] = normal * both, difference, both
    out[3], out[4], out[5] = G22 / determinant, -G12 / determinant, (G11 + C) / determinant
    return abs(difference) <= both


@compiled
def _parabola(surface, n, m, size, G11, G12, G22, hi, out):  # type: ignore[no-untyped-def]
    """Closest point on a parabola; writes π, λ, D as `_polygon` does."""
    flat = surface[2]
    for i in range(7):
        out[i] = 0.0
    gamma = max(abs(n) - flat, 0.0) / (1.0 - flat)
    excess = abs(m) + gamma * gamma - size
    if excess <= TOUCH * size:
        return OK
    sign = 1.0 if m >= 0.0 else -1.0
    reached, found = _face_of_parabola(flat, sign, n, m, size, G11, G12, G22, hi, out)
    if found and sign * reached >= 0.0:
        return OK
    if _tip_of_parabola(flat, n, m, size, G11, G12, G22, hi, out):
        return OK
    reached, found = _face_of_parabola(flat, -sign, n, m, size, G11, G12, G22, hi, out)
    return OK if found else NOT_CONVERGED


@compiled
def return_map(surface, K11, K12, K22, hk, hi, n, m, m0, out, m1):  # type: ignore[no-untyped-def]
    """Bring the trial forces (n, m), made with the committed plastic deformation, back to the surface.

    `surface` is `YieldSurface.data`, K̂ the elastic stiffness in forces over Np, Mp and deformations times
    Np, Mp. Memory: π (2), α (2), κ. Writes n, m and the tangent T11, T12, T22 of dx = T·d(S·d) to `out` (8
    entries, the last three are scratch) and the new memory to `m1`; returns a status.
    """
    answer = at(out, 0)
    map_of = surface[0]
    G11, G22 = K11 + hk, K22 + hk
    size = 1.0 + hi * m0[4]
    if map_of == POLYGON:
        status = _polygon(surface, n - m0[2], m - m0[3], size, G11, K12, G22, hi, answer)
    else:
        status = _parabola(surface, n - m0[2], m - m0[3], size, G11, K12, G22, hi, answer)
    if status != OK:
        return status
    p0, p1, multiplier, D11, D12, D22 = answer[0], answer[1], answer[2], answer[3], answer[4], answer[5]
    m1[0], m1[1] = m0[0] + p0, m0[1] + p1
    m1[2], m1[3], m1[4] = m0[2] + hk * p0, m0[3] + hk * p1, m0[4] + multiplier
    out[0], out[1] = n - K11 * p0 - K12 * p1, m - K12 * p0 - K22 * p1
    # dx = (K̂ − K̂DK̂)·d(S·d), as dπ = D·dx_trial
    r11, r12 = D11 * K11 + D12 * K12, D11 * K12 + D12 * K22
    r21, r22 = D12 * K11 + D22 * K12, D12 * K12 + D22 * K22
    out[2] = K11 - K11 * r11 - K12 * r21
    out[3] = K12 - K11 * r12 - K12 * r22
    out[4] = K22 - K12 * r12 - K22 * r22
    return OK


@pair_kernel
def kernel(p: Any, m0: Any, d: Any, out: Any, m1: Any) -> int:
    """Elastic trial and return mapping of a hinge with a stiffness of its own."""
    Np, Mp, K11, K12, K22, hk, hi = p[0], p[1], p[2], p[3], p[4], p[5], p[6]
    e0, e1 = Np * d[0] - m0[0], Mp * d[1] - m0[1]
    scratch = at(m1, 5)
    status = return_map(
        at(p, _SURFACE), K11, K12, K22, hk, hi, K11 * e0 + K12 * e1, K12 * e0 + K22 * e1, m0, scratch, m1
    )
    if status != OK:
        return status
    n, m = scratch[0], scratch[1]
    e0, e1 = Np * d[0] - m1[0], Mp * d[1] - m1[1]
    out[0], out[1] = Np * n, Mp * m
    out[2] = Np * Np * scratch[2]
    out[3] = out[4] = Np * Mp * scratch[3]
    out[5] = Mp * Mp * scratch[4]
    out[6] = 0.5 * (n * e0 + m * e1)
    if hk > 0.0:
        out[6] += 0.5 * (m1[2] * m1[2] + m1[3] * m1[3]) / hk
    return OK


@register_hinge
@dataclass(frozen=True)
class AxialMomentHinge(PairHinge):
    """Hinge of axial deformation and rotation with `surface`, plastic forces `Np` (N) and `Mp` (N·m).

    `kN` (N/m) and `kM` (N·m/rad) are its elastic stiffnesses, `hardening` (N·m per rad of plastic rotation,
    in pure bending) its plastic modulus, of which the share `isotropic` in [0, 1] makes the surface grow and
    the rest moves it.
    """

    surface: YieldSurface
    Np: float
    Mp: float
    kN: float
    kM: float
    hardening: float = 0.0
    isotropic: float = 0.0

    kernel: ClassVar[Kernel] = kernel
    recoverable: ClassVar[str] = (
        "elastic energy, and that of the back forces α, which reversed yielding returns"
    )

    def __post_init__(self) -> None:
        if not isinstance(self.surface, YieldSurface):
            raise InputError(f"AxialMomentHinge.surface is {self.surface!r}; allowed: a yield surface")
        for name in ("Np", "Mp", "kN", "kM"):
            positive(f"AxialMomentHinge.{name}", getattr(self, name))
        within("AxialMomentHinge.hardening", self.hardening, 0.0, np.inf, open_high=True)
        within(
            "AxialMomentHinge.isotropic",
            self.isotropic,
            0.0,
            1.0,
            hint="it is a share: 0 kinematic, 1 isotropic",
        )

    def hardening_numbers(self) -> tuple[float, float]:
        """(hₖ, hᵢ), 1/J: in pure bending both act as `hardening` over Mp²."""
        unit = self.hardening / self.Mp**2
        return unit * (1.0 - self.isotropic), unit * self.isotropic

    def parameters(self) -> np.ndarray:
        """Np, Mp, K̂11, K̂12, K̂22, hₖ, hᵢ, data of the surface."""
        own = [self.Np, self.Mp, self.kN / self.Np**2, 0.0, self.kM / self.Mp**2, *self.hardening_numbers()]
        return np.concatenate([own, self.surface.data()])

    def initial_memory(self) -> np.ndarray:
        """π (2), α (2), κ, scratch (8)."""
        return np.zeros(13)

    def plastic(self, memory: np.ndarray) -> np.ndarray:
        """Plastic axial deformation (m) and rotation (rad), shape (2,)."""
        return np.array([memory[0] / self.Np, memory[1] / self.Mp])

    @classmethod
    def example(cls) -> "AxialMomentHinge":
        return cls(surface=en_section(0.4), Np=2e6, Mp=2e5, kN=1e9, kM=2e7, hardening=2e5, isotropic=0.3)


class PairLoop(NamedTuple):
    """History of a driven hinge; the first axis is the point."""

    #: N, M; shape (points, 2).
    force: np.ndarray
    #: dF/dd; shape (points, 2, 2).
    tangent: np.ndarray
    #: Recoverable energy, J.
    recoverable: np.ndarray
    #: Memory after the last point.
    memory: np.ndarray


@compiled
def _drive(address, p, d, memory, trial, out, answer):  # type: ignore[no-untyped-def]
    for i in range(d.shape[0]):
        status = call_pair(address, at(p, 0), at(memory, 0), at(d[i], 0), at(out, 0), at(trial, 0))
        if status != 0:
            return i
        answer[i, :] = out
        memory[:] = trial
    return -1


def drive_pair(hinge: PairHinge, deformation: np.ndarray, memory: np.ndarray | None = None) -> PairLoop:
    """Forces of `hinge` under `deformation`, shape (points, 2), each point committed.

    Raises `InputError` for a history that is not finite, `Frame2dError` where the return mapping finds no
    answer.
    """
    d = np.ascontiguousarray(deformation, dtype=np.float64)
    if d.ndim != 2 or d.shape[0] == 0 or d.shape[1] != 2 or not np.all(np.isfinite(d)):
        raise InputError("deformation must have the shape (points, 2) and finite numbers")
    state = hinge.initial_memory() if memory is None else memory.copy()
    answer = np.zeros((d.shape[0], 7))
    failed = _drive(hinge.kernel.address, hinge.parameters(), d, state, state.copy(), np.zeros(7), answer)
    if failed >= 0:
        raise Frame2dError(f"{hinge} has no answer at point {failed}, deformation {d[failed]}")
    return PairLoop(answer[:, :2], answer[:, 2:6].reshape(-1, 2, 2), answer[:, 6], state)
