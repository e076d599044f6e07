"""Asymmetric Bouc-Wen law: the slope depends on the signs of deformation, rate and hysteretic state.

In x = u/uy, uy = Fy/k, with dimensionless z:

    F = a·k·u + (1 − a)·Fy·z,    dz = dx·[1 − |z|ⁿψ]
    ψ = β₁ sgn(ẋz) + β₂ sgn(xẋ) + β₃ sgn(xz) + β₄ sgn ẋ + β₅ sgn z + β₆ sgn x

Six phases of a loop, six values of ψ: 1 (x, ẋ, z > 0), 2 (ẋ < 0), 3 (ẋ, z < 0), and 4 to 6 the same on the
other side. Source: Song & Der Kiureghian, Generalized Bouc-Wen model for highly asymmetric hysteresis, J. Eng.
Mech. 132(6), 2006, 610-618 (ψ and dz checked against "Generalized Bouc-Wen (GBW) model of hysteresis",
gbw_model.py, github.com, 2026). The symmetric law with β, γ is β₁ = β + γ, β₂ = −γ, β₃ = γ, others 0.
"""

import itertools
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from frame2d.errors import InputError, finite, positive, within
from frame2d.kernels import NOT_CONVERGED, OK, OUT_OF_RANGE, law_kernel
from frame2d.materials.bouc_wen_step import division, plain_step
from frame2d.materials.law import Law
from frame2d.materials.power import power

#: Signs of x, ẋ, z in phases 1 to 6.
PHASES = ((1, 1, 1), (1, -1, 1), (1, -1, -1), (-1, -1, -1), (-1, 1, -1), (-1, 1, 1))


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Sub-steps of fixed length from the committed deformation to u = 0, if it lies between, and on to u."""
    per_uy, hysteretic, elastic = p[13], p[14], p[2] * p[0]
    z, u0 = m0[0], m0[1]
    total = abs(u - u0) * per_uy
    if not total < 1e12:
        return OUT_OF_RANGE
    up = 1 if u >= u0 else 0
    s = 1.0 if up else -1.0
    w, dw = s * z, 1.0
    if total == 0.0:  # at rest: the stiffer side, along which a reversal would go
        phase = (4 if u > 0.0 else 0) + (1 if z > 0.0 else 2)
        dw = 1.0 - p[4 + phase] * power(abs(z), p[3])
    first = abs(u0) * per_uy if u0 * u < 0.0 else total
    for part in range(2):
        reach = first if part == 0 else total - first
        right = (u0 > 0.0 or (u0 == 0.0 and up == 1)) if part == 0 else u > 0.0
        phase = (4 if right else 0) + 2 * up
        load, unload = p[4 + phase + up], p[5 + phase - up]
        count, length, rest = division(reach, p[12])
        for i in range(count + 1):
            h = length if i < count else rest
            if h > 0.0:
                w, dw, solved = plain_step(w, h, p[3], load, unload)
                if not solved:
                    return NOT_CONVERGED
    z = s * w
    m1[0], m1[1] = z, u
    out[0] = elastic * u + hysteretic * z
    out[1] = elastic + hysteretic * per_uy * dw
    out[2] = 0.0
    out[3] = 0.5 * elastic * u * u + 0.5 * hysteretic / per_uy * z * z
    return OK


@law_kernel
def rate(p: Any, s: Any, u: float, v: float, dt: float, out: Any, sdot: Any) -> int:
    """Rate form, state z."""
    per_uy, hysteretic, elastic = p[13], p[14], p[2] * p[0]
    z = s[0]
    right = u > 0.0 or (u == 0.0 and v > 0.0)
    phase = (4 if right else 0) + (2 if v > 0.0 else 0) + (1 if z > 0.0 else 0)
    sdot[0] = (1.0 - p[4 + phase] * power(abs(z), p[3])) * v * per_uy
    out[0] = elastic * u + hysteretic * z
    out[1] = elastic
    out[2] = 0.0
    out[3] = 0.5 * elastic * u * u + 0.5 * hysteretic / per_uy * z * z
    out[4] = hysteretic
    return OK


@dataclass(frozen=True)
class BoucWenAsymmetric(Law):
    """Smooth hysteresis of six slopes: `k`, `Fy`, post-yield ratio `a` in [0, 1), `n` ≥ 1, `beta1`…`beta6`.

    Hysteretic strengths are (1 − a)Fy·ψ^(−1/n), with ψ of phase 1 in tension and of phase 4 in compression.
    What can only dissipate has ψ ≥ 0 wherever z is loaded and ψ ≤ 0 wherever it is unloaded (then z·dx ≥
    d(½z²)); `allow_inadmissible` accepts the rest with a warning. Raises `InputError`.
    """

    k: float
    Fy: float
    a: float
    n: float
    beta1: float
    beta2: float
    beta3: float
    beta4: float
    beta5: float
    beta6: float
    allow_inadmissible: bool = False

    kernel = kernel
    rate = rate
    states: ClassVar[int] = 1
    recoverable = "½aku² + ½(1 − a)k·uy²·z², the energy of the two springs"

    @classmethod
    def from_phases(
        cls, k: float, Fy: float, a: float, n: float, psi: Sequence[float], allow_inadmissible: bool = False
    ) -> "BoucWenAsymmetric":
        """The law with the values `psi` of ψ in phases 1 to 6."""
        if len(psi) != 6:
            raise InputError(f"BoucWenAsymmetric psi has {len(psi)} values; allowed: 6, one a phase")
        betas = np.linalg.solve([_signs(*phase) for phase in PHASES], [finite("psi", value) for value in psi])
        return cls(k, Fy, a, n, *(float(beta) for beta in betas), allow_inadmissible)  # type: ignore[call-arg, arg-type]

    def __post_init__(self) -> None:
        positive("BoucWenAsymmetric.k", self.k)
        positive("BoucWenAsymmetric.Fy", self.Fy)
        within(
            "BoucWenAsymmetric.a",
            self.a,
            0.0,
            1.0,
            open_high=True,
            hint="a is a ratio of stiffnesses, not a stiffness",
        )
        within("BoucWenAsymmetric.n", self.n, 1.0, 100.0, hint="n below 1 has no finite slope at z = 0")
        for number, beta in enumerate(self.betas, 1):
            finite(f"BoucWenAsymmetric.beta{number}", beta)
        wrong = [
            f"x, dx, z of signs {x:+d}, {dx:+d}, {z:+d}: {self.psi(x, dx, z):.4g}"
            for x, dx, z in itertools.product((-1, 1), repeat=3)
            if self.psi(x, dx, z) * dx * z < -1e-12
        ]
        if wrong:
            problem = f"psi of the wrong sign at {'; '.join(wrong)}"
            rule = (
                "allowed: psi >= 0 where z is loaded, <= 0 where it is unloaded, or allow_inadmissible=True"
            )
            if not self.allow_inadmissible:
                names = ", ".join(f"beta{number}" for number in range(1, 7))
                raise InputError(f"BoucWenAsymmetric.{names} are {self.betas}; {problem}; {rule}")
            warnings.warn(f"BoucWenAsymmetric: {problem}; energy may be created", UserWarning, stacklevel=3)

    @property
    def betas(self) -> tuple[float, ...]:
        """β₁ to β₆."""
        return self.beta1, self.beta2, self.beta3, self.beta4, self.beta5, self.beta6

    def psi(self, x: int, dx: int, z: int) -> float:
        """ψ for these signs of deformation, rate and hysteretic state."""
        return float(np.dot(_signs(x, dx, z), self.betas))

    def parameters(self) -> np.ndarray:
        """k, Fy, a, n, ψ for all eight signs (x slowest, z fastest), longest sub-step, 1/uy, (1 − a)Fy."""
        psi = [self.psi(*signs) for signs in itertools.product((-1, 1), repeat=3)]
        softest = min(abs(self.psi(1, 1, 1)), abs(self.psi(-1, -1, -1)), 1.0)
        reach = max(softest, 1e-6) ** (1.0 / self.n - 1.0)
        substep = 0.5 / (1.0 + self.n * max(1.0, *np.abs(psi)) * reach)
        return np.array(
            [self.k, self.Fy, self.a, self.n, *psi, substep, self.k / self.Fy, (1.0 - self.a) * self.Fy]
        )

    def initial_memory(self) -> np.ndarray:
        """Hysteretic state z, previous deformation."""
        return np.zeros(2)

    @property
    def stiffness(self) -> float:
        return self.k

    @classmethod
    def example(cls) -> "BoucWenAsymmetric":
        return cls.from_phases(k=1e7, Fy=1e5, a=0.03, n=1.5, psi=(0.7, -0.3, 0.9, 1.2, -0.1, 0.8))


def _signs(x: int, dx: int, z: int) -> tuple[int, ...]:
    return dx * z, x * dx, x * z, dx, z, x
