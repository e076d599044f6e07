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

Sources: Gravouil & Combescure 2001; Prakash & Hjelmstad 2004; Pegon & Magonette 2002 with Bonelli, Bursi et al. 2008
(formulas from memory; the signs of the interface energy are tested). Loads of a coarser part are linear within its
step, so that Prakash & Hjelmstad's unbalanced interface loads vanish.
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
