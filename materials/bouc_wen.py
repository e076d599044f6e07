"""Bouc-Wen law with Baber-Wen degradation and Baber-Noori pinching.

In x = u/uy, uy = Fy/k, with dimensionless z:

    F = a·k·u + (1 − a)·Fy·z
    dz = h·[A·dx − ν(β|dx||z|ⁿ⁻¹z + γ·dx|z|ⁿ)]/η,    ε = ∫z dx
    A = 1 − δA·ε,  ν = 1 + δν·ε,  η = 1 + δη·ε
    h = 1 − ζ₁·exp[−(z·sgn dx − q·zu)²/ζ₂²],  zu = [A/(ν(β + γ))]^(1/n)
    ζ₁ = ζs(1 − e^(−pε)),  ζ₂ = (ψ + δψ·ε)(λ + ζ₁)

ε is dimensionless and counts the recoverable part as well. Sources: Bouc, Forced vibration of mechanical
systems with hysteresis, 1967; Wen, Method for random vibration of hysteretic systems, 1976; Baber & Wen,
Random vibration of hysteretic degrading systems, 1981; Baber & Noori, Random vibration of degrading, pinching
systems, 1985, in the form of Foliente, Hysteresis modeling of wood joints and structural systems, 1995
(equations checked against "Bouc-Wen-Baber-Noori (BWBN) hysteresis model", bw_test.m, BWBN_TMCMC, github.com, 2026,
which has 1 for A in zu; zu with A is derived, dz = 0 at z = zu). Admissible range −β ≤ γ ≤ β: Erlicher & Bursi, Bouc-Wen-type models with stiffness
degradation, 2008.

Known defect: a partial unloading and reloading ends below where it began
(``examples/partial_cycle_drift.py``); `BoucWenStiffened` is the remedy.
"""

import warnings
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from frame2d.errors import InputError, finite, positive, within
from frame2d.kernels import NOT_CONVERGED, OK, OUT_OF_RANGE, Kernel, compiled, law_kernel
from frame2d.materials.bouc_wen_step import (
    degrading_step,
    division,
    plain_step,
    slope,
    square_step,
    stored,
    wear,
)
from frame2d.materials.law import Law


@compiled
def advance(p: Any, m0: Any, u: float, m1: Any, tangent: bool) -> tuple[int, float]:
    """Sub-steps of fixed length from the committed deformation, the last one shorter; status and dw/dx."""
    dx = (u - m0[2]) * p[17]
    s = 1.0 if dx >= 0.0 else -1.0
    if not abs(dx) < 1e12:
        return OUT_OF_RANGE, 0.0
    count, length, rest = division(abs(dx), p[15])
    w, eps = s * m0[0], m0[1]
    dw = 1.0
    if dx == 0.0 and tangent:  # at rest: the stiffer side, along which a reversal would go
        dw = slope(p, wear(p, eps), -abs(w), False)[0]
    plain = p[16] == 0.0
    load, unload = p[5] + p[4], p[5] - p[4]
    converged = True
    for i in range(count + 1):
        h = length if i < count else rest
        if h > 0.0:
            if plain:
                before = w
                w, dw, converged = plain_step(w, h, p[3], load, unload)
                eps += 0.5 * h * (before + w)
            else:
                w, eps, dw, converged = degrading_step(p, w, eps, h, False, tangent)
            if not converged:
                return NOT_CONVERGED, 0.0
    m1[0], m1[1], m1[2] = s * w, eps, u
    return OK, dw


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Force, tangent and energy."""
    elastic = p[2] * p[0]
    h = abs(u - m0[2]) * p[17]
    if p[20] != 0.0 and 0.0 < h <= p[15]:  # most of all calls: n = 2, nothing wears, one sub-step
        s = 1.0 if u > m0[2] else -1.0
        before = s * m0[0]
        w, dw, converged = square_step(before, h, p[5] + p[4], p[5] - p[4])
        if not converged:
            return NOT_CONVERGED
        m1[0], m1[1], m1[2] = s * w, m0[1] + 0.5 * h * (before + w), u
        recoverable = 0.5 * w * w if p[4] == p[5] or p[21] == 0.0 else stored(p, w, 0.0)
    else:
        status, dw = advance(p, m0, u, m1, True)
        if status != OK:
            return status
        recoverable = stored(p, m1[0], m1[1]) if p[21] != 0.0 else 0.0
    out[0] = elastic * u + p[18] * m1[0]
    out[1] = elastic + p[18] * p[17] * dw
    out[2] = 0.0
    out[3] = 0.5 * elastic * u * u + p[19] * recoverable
    return OK


@law_kernel
def force_kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """The same force alone, ``out[0]``, without tangent and energy, for those who fit."""
    status = advance(p, m0, u, m1, False)[0]
    if status == OK:
        out[0] = p[2] * p[0] * u + p[18] * m1[0]
    return status


@law_kernel
def rate(p: Any, s: Any, u: float, v: float, dt: float, out: Any, sdot: Any) -> int:
    """Rate form, states z and ε."""
    per_uy, hysteretic, elastic = p[17], p[18], p[2] * p[0]
    z, eps = s[0], s[1]
    w = z if v >= 0.0 else -z
    sdot[0] = slope(p, wear(p, eps), w, w > 0.0)[0] * v * per_uy
    sdot[1] = z * v * per_uy
    out[0] = elastic * u + hysteretic * z
    out[1] = elastic
    out[2] = 0.0
    out[3] = 0.5 * elastic * u * u + hysteretic / per_uy * stored(p, z, eps)
    out[4] = hysteretic
    out[5] = 0.0
    return OK


@dataclass(frozen=True)
class BoucWen(Law):
    """Smooth hysteresis: stiffness `k`, yield force `Fy`, post-yield ratio `a` in [0, 1), sharpness `n` ≥ 1.

    `beta` and `gamma` shape the loop; normalised, β + γ = 1 (`gamma` left out means 1 − β) and |z| ≤ 1.
    Degradation: `delta_A`, `delta_nu` (strength), `delta_eta` (stiffness) per unit of ε. Pinching is on where
    `zeta_s` > 0: total slip `zeta_s` in [0, 1), `q` where it begins, `p` how soon it grows, `psi`,
    `delta_psi`, `lam` its spread. A stops at 1 % of its virgin value. `allow_inadmissible` accepts what
    thermodynamics forbids, with a warning: then β + γ need not be 1 and energy may be created. Raises
    `InputError`.
    """

    k: float
    Fy: float
    a: float = 0.0
    n: float = 2.0
    beta: float = 0.5
    gamma: float | None = None
    delta_A: float = 0.0
    delta_nu: float = 0.0
    delta_eta: float = 0.0
    zeta_s: float = 0.0
    q: float = 0.0
    p: float = 1.0
    psi: float = 0.2
    delta_psi: float = 0.0
    lam: float = 0.1
    allow_inadmissible: bool = False

    kernel = kernel
    rate = rate
    #: Kernel of the force alone, for drivers that need no more; a class with a kernel of its own does not inherit it.
    force_kernel: ClassVar[Kernel] = force_kernel
    states: ClassVar[int] = 2
    recoverable = (
        "½aku² and what unloading to z = 0 would return, (1 − a)Fy·uy·∫y/G dy along the unloading curve"
    )

    def __post_init__(self) -> None:
        name = type(self).__name__
        positive(f"{name}.k", self.k)
        positive(f"{name}.Fy", self.Fy)
        within(f"{name}.n", self.n, 1.0, 100.0, hint="n below 1 has no finite slope at z = 0")
        low = -1e6 if self.allow_inadmissible else 0.0
        within(
            f"{name}.a", self.a, low, 1.0, open_high=True, hint="a is a ratio of stiffnesses, not a stiffness"
        )
        for field in ("delta_A", "delta_nu", "delta_eta", "delta_psi"):
            within(
                f"{name}.{field}",
                getattr(self, field),
                low,
                1e6,
                hint="degradation per unit of ε, usually below 0.1",
            )
        within(
            f"{name}.zeta_s",
            self.zeta_s,
            0.0,
            1.0,
            open_high=True,
            hint="zeta_s = 1 takes all stiffness away",
        )
        within(f"{name}.q", self.q, 0.0, 1.0)
        for field in ("p", "psi", "lam"):
            positive(f"{name}.{field}", getattr(self, field))
        self._check_shape(name)

    def _check_shape(self, name: str) -> None:
        beta, gamma = finite(f"{name}.beta", self.beta), self._gamma
        finite(f"{name}.gamma", gamma)
        problem = admissible(beta, gamma)
        if problem and not self.allow_inadmissible:
            raise InputError(f"{name}.beta is {beta!r}, {name}.gamma is {gamma!r}; {problem}")
        if problem:
            warnings.warn(f"{name}: {problem}; energy may be created", UserWarning, stacklevel=4)
        if self.zeta_s > 0.0 and beta + gamma <= 0.0:
            raise InputError(f"{name}.zeta_s is {self.zeta_s!r}; pinching needs beta + gamma above 0")

    @property
    def _gamma(self) -> float:
        return 1.0 - self.beta if self.gamma is None else self.gamma

    @property
    def uy(self) -> float:
        """Yield deformation Fy/k."""
        return self.Fy / self.k

    def parameters(self) -> np.ndarray:
        """Fields in their order, then what the kernels make of them.

        Longest sub-step in x, whether z degrades or is pinched, 1/uy, (1 − a)Fy, (1 − a)Fy·uy, whether the short step
        of n = 2 serves, and whether the energy is asked for.
        """
        worn = (self.delta_A, self.delta_nu, self.delta_eta)
        slip = (self.zeta_s, self.q, self.p, self.psi, self.delta_psi, self.lam)
        complete = float(any(worn) or self.zeta_s > 0.0)
        shape = (self.n, self.beta, self._gamma)
        hysteretic = (1.0 - self.a) * self.Fy
        short = float(not complete and self.n == 2.0)
        ready = (self._substep, complete, 1.0 / self.uy, hysteretic, hysteretic * self.uy, short, 1.0)
        return np.array([self.k, self.Fy, self.a, *shape, *worn, *slip, *ready])

    def lean_parameters(self) -> np.ndarray:
        parameters = self.parameters()
        if type(self).kernel is BoucWen.kernel:  # others number their parameters as they like
            parameters[21] = 0.0
        return parameters

    @property
    def _substep(self) -> float:
        """Sub-step that keeps G nearly straight, and its equation monotonic where pinched (own rule)."""
        total = self.beta + self._gamma
        zu = total ** (-1.0 / self.n) if total > 0.0 else 1.0
        steepest = self.n * max(abs(total), abs(self.beta - self._gamma)) * zu ** (self.n - 1.0)
        smooth = 0.5 / (1.0 + steepest)
        return min(smooth, 0.5 * self.psi) if self.zeta_s > 0.0 else smooth

    def initial_memory(self) -> np.ndarray:
        """Hysteretic state z, ε, previous deformation."""
        return np.zeros(3)

    @property
    def stiffness(self) -> float:
        return self.k

    @classmethod
    def example(cls) -> "BoucWen":
        return cls(
            k=1e7,
            Fy=1e5,
            a=0.02,
            beta=0.6,
            delta_nu=0.02,
            delta_eta=0.03,
            zeta_s=0.8,
            q=0.1,
            p=0.5,
            psi=0.2,
            delta_psi=0.005,
            lam=0.3,
        )


def admissible(beta: float, gamma: float) -> str:
    """What is wrong with these shape parameters; empty where they are normalised and can only dissipate."""
    if abs(beta + gamma - 1.0) > 1e-9:
        return (
            "allowed: beta + gamma = 1. Likely mistake: values that belong to z in metres; multiply by uy**n"
        )
    if not -beta <= gamma <= beta:
        return "allowed: -beta <= gamma <= beta (Erlicher & Bursi 2008)"
    return ""
