"""The coupling methods as values: how parts with their own steps are tied by velocity multipliers.

| method | multipliers | ahead |
| --- | --- | --- |
| GravouilCombescure | at every finest step; a coarser part's free velocity is linear in between | no |
| PrakashHjelmstad | at every coarsest step, linear in between | no |
| PegonMagonette | as Gravouil & Combescure | coarser parts step over two of their steps |

All tie velocities, Σ B·v = 0, by forces +Bᵀ·Λ that each part weighs in time as its scheme weighs loads.

With V(Λ) the velocity B·v at the end of a part's own step under Λ there, H = ∂V/∂Λ and F = V − H·Λ its free velocity,
a coarser part is seen at the share s of its step as (1 − s)·F₀ + s·F₁ + H·Λ. For linear parts that is the link
equation H·Λ = −(free velocity gap), H = Σ B·M*⁻¹·Bᵀ·γΔt, of the papers.

Loads of a coarser part are linear within its step, so that Prakash & Hjelmstad's unbalanced interface loads vanish.

The interface energy of one coarse step ΔT = m·Δt of linear parts, Σ Δ(B·v)·ΔΛ/Δt over all steps of all parts, is
derived from these equations. Multipliers linear in the coarse step have equal ΔΛ in all fine ones: the sum is
ΔΛ·ΣΔ(B·v)/ΔT = 0 (Prakash & Hjelmstad). Where the fine part's velocity answers the coarse one's at the share s, F₀
and F₁ cancel, and

    −1/Δt·[Σⱼ ΔΛⱼ·H·ΔΛⱼ − 1/m·(ΣⱼΔΛⱼ)·H·(ΣⱼΔΛⱼ)] ≤ 0,  H of the coarse part        (Gravouil & Combescure)

Signs, this value, order and equality with the monolithic scheme are tested in tests/substructure.

Sources: Gravouil & Combescure, Multi-time-step explicit-implicit method for non-linear structural dynamics, 2001;
Prakash & Hjelmstad, A FETI-based multi-time-step coupling method for Newmark schemes in structural dynamics, 2004;
Pegon & Magonette 2002; Bonelli, Bursi, He, Magonette & Pegon, Convergence analysis of a parallel interfield method
for heterogeneous simulations with dynamic substructuring, 2008; with generalized-alpha Bursi, He, Bonelli & Pegon
2008. What is coupled (velocities, by multipliers that are solved for first; any scheme and step in each part; all
parts advanced together in the parallel method) was checked against the abstracts of the last two, paperexplained.cn
and fdokumen.com, 2026. The start of a part ahead and its interleaved chains are from memory.
"""

from dataclasses import dataclass

from frame2d.errors import known


@dataclass(frozen=True)
class GravouilCombescure:
    """Ties at every finest step (Gravouil & Combescure 2001): interface energy ≤ 0, first order when sub-cycling."""

    name: str = "Gravouil-Combescure"


@dataclass(frozen=True)
class PrakashHjelmstad:
    """Ties at every coarsest step, multipliers linear between (Prakash & Hjelmstad 2004): no interface energy."""

    name: str = "Prakash-Hjelmstad"


@dataclass(frozen=True)
class PegonMagonette:
    """Parts solved side by side (Pegon & Magonette 2002; Bonelli, Bursi et al. 2008).

    A part that goes `ahead` (by default every one coarser than the finest, else the first) reaches its free velocity
    from the instant before the present one over two of its steps, so that it needs nothing of the step in which the
    others are. Its instants form two interleaved chains, begun by one plain step.
    """

    ahead: tuple[str, ...] | None = None
    name: str = "Pegon-Magonette"

    def ahead_of(self, names: list[str], ratios: list[int]) -> list[bool]:
        """Which parts go ahead."""
        if self.ahead is not None:
            for name in self.ahead:
                known("part that goes ahead", name, names)
            return [name in self.ahead for name in names]
        if max(ratios) > 1:
            return [ratio > 1 for ratio in ratios]
        return [position == 0 for position in range(len(names))]


Method = GravouilCombescure | PrakashHjelmstad | PegonMagonette
