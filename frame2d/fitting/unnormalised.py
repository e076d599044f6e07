"""Bouc-Wen law in the unnormalised parameters of system identification, which may be inadmissible.

    F = elastic·u + Z,   dZ = A·du − β|du||Z|ⁿ⁻¹Z − γ·du|Z|ⁿ

Z is a force. No ultimate force is asked for: β + γ may be negative, and energy may be created, so the law has
to be allowed explicitly and warns. Form of Noël & Schoukens, Hysteretic benchmark with a dynamic nonlinearity,
2016 (from memory), whose αₙₛ, βₙₛ·γₙₛ and βₙₛ·δₙₛ are A, β and γ here.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from frame2d.fitting.forms import OWN
from frame2d.fitting.ranges import Range
from frame2d.materials import BoucWen, Law


@dataclass(frozen=True)
class UnnormalisedForm:
    """Numbers `elastic`, `A` (N/m), `beta`, `gamma` (N/m over Nⁿ), `n`; `reference` is any force near |Z|, N."""

    reference: float
    law: type[BoucWen] = BoucWen

    @property
    def name(self) -> str:
        return f"{self.law.__name__} (unnormalised)"

    @property
    def ranges(self) -> tuple[Range, ...]:
        """β and γ as slopes lost at |Z| = `reference`, at most three times the stiffness."""
        steep = 3.0 / self.reference
        return (
            Range("elastic", "K", 0.0, 3.0, 0.3, OWN, log=False),
            Range("A", "K", 0.05, 3.0, 0.7, OWN),
            Range("beta", "K", 0.0, steep, 0.2 * steep, OWN, log=False),
            Range("gamma", "K", -steep, steep, 0.0, OWN, log=False),
            Range("n", "1", 1.0, 4.0, 1.5, "1 to 2 (from memory), widened"),
        )

    def build(self, values: Mapping[str, float]) -> Law:
        """The law; |β| and |γ| are slopes per `reference`, whatever n is."""
        return unnormalised(
            values["elastic"],
            values["A"],
            values["beta"] * self.reference ** (1.0 - values["n"]),
            values["gamma"] * self.reference ** (1.0 - values["n"]),
            values["n"],
            self.law,
        )

    def read(self, law: Law) -> dict[str, float]:
        """The numbers of a law."""
        assert isinstance(law, BoucWen)
        A = (1.0 - law.a) * law.k
        gamma = 1.0 - law.beta if law.gamma is None else law.gamma
        force = (1.0 - law.a) * law.Fy
        per = A / force**law.n * self.reference ** (law.n - 1.0)
        return {"elastic": law.a * law.k, "A": A, "beta": per * law.beta, "gamma": per * gamma, "n": law.n}


def unnormalised(
    elastic: float, A: float, beta: float, gamma: float, n: float, law: type[BoucWen] = BoucWen
) -> BoucWen:
    """The Bouc-Wen law with these parameters; warns where they are inadmissible or not normalised.

    The force at which z = 1 is chosen so that the larger of |β| and |γ| becomes 1: it scales z and nothing else.
    """
    k = elastic + A
    force = (A / max(abs(beta), abs(gamma), 1e-300)) ** (1.0 / n)
    scaled = force**n / A
    share = A / k
    return law(
        k=k,
        Fy=force / share,
        a=elastic / k,
        n=n,
        beta=beta * scaled,
        gamma=gamma * scaled,
        allow_inadmissible=True,
    )
