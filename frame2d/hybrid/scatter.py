"""What a rehearsal scatters: strength of the tested part, delay of the controller, noise of the sensors, seed.

Device strength ±20 % is common practice (no source); delay and noise between half and twice what is expected are our own
rule. A law is made stronger with its elastic stiffness and its plastic deformations as they were.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any, NamedTuple

import numpy as np

from frame2d.errors import InputError, positive, within
from frame2d.hybrid.actuator import Controller
from frame2d.hybrid.network import Model, Network
from frame2d.hybrid.rig import Rig
from frame2d.materials.deterioration import Backbone
from frame2d.materials.law import Law

#: Fields of laws that are strengths: yielding, buckling.
STRENGTHS = ("Fy", "Fb")
#: Fields that hold points (deformation, force) of a backbone, the first of them at the end of the elastic range.
BACKBONES = ("positive", "negative")


def stronger(law: Law, factor: float) -> Law:
    """`law` with its strengths times `factor`; laws inside it likewise, and what has no strength is left as it is.

    Points of a backbone move by the elastic deformation of the added force, so that stiffness stays.
    """
    changes: dict[str, Any] = {}
    for field in fields(law):
        value = getattr(law, field.name)
        if value is None:
            continue
        if field.name in STRENGTHS:
            changes[field.name] = factor * value
        elif isinstance(value, Law):
            changes[field.name] = stronger(value, factor)
        elif isinstance(value, Backbone):
            changes[field.name] = value._replace(Fy=factor * value.Fy, Fc=factor * value.Fc)
        elif isinstance(value, tuple) and value and all(isinstance(entry, Law) for entry in value):
            changes[field.name] = tuple(stronger(entry, factor) for entry in value)
        elif field.name in BACKBONES:
            flexible = value[0][0] / value[0][1]
            changes[field.name] = tuple((u + (factor - 1.0) * flexible * F, factor * F) for u, F in value)
    return replace(law, **changes) if changes else law


class Draw(NamedTuple):
    """What one run is made of: strength and noise as multiples, delay in s."""

    strength: float
    delay: float
    noise: float
    seed: int


@dataclass(frozen=True)
class Spreads:
    """Ranges (low, high) from which each run is drawn, each run by its own seed.

    `strength` of all laws of the tested part by one factor, uniform; `delay` of the controller in s, uniform (None: half
    to twice the rig's own); `noise` of displacement and force channels as a multiple, log-uniform. `stronger(law, factor)`
    serves laws whose strength is not found by `frame2d.hybrid.scatter.stronger`.
    """

    strength: tuple[float, float] = (0.8, 1.2)
    delay: tuple[float, float] | None = None
    noise: tuple[float, float] = (0.5, 2.0)
    stronger: Callable[[Law, float], Law] = stronger

    def __post_init__(self) -> None:
        for name in ("strength", "delay", "noise"):
            ends = getattr(self, name)
            if ends is None:
                continue
            if len(ends) != 2 or not ends[0] <= ends[1]:
                raise InputError(f"Spreads.{name} is {ends!r}; allowed: (low, high) with low ≤ high")
            for value in ends:
                if name == "delay":
                    within("Spreads.delay", value, 0.0, 1.0, hint="it is in seconds")
                else:
                    positive(
                        f"Spreads.{name}",
                        value,
                        hint="it is a multiple of what the rig has, not a percentage",
                    )

    def delays(self, controller: Controller) -> tuple[float, float]:
        """Smallest and largest delay, s."""
        return (0.5 * controller.delay, 2.0 * controller.delay) if self.delay is None else self.delay

    def draw(self, seed: int, controller: Controller) -> Draw:
        """The run of this seed."""
        rng = np.random.default_rng(seed)
        strength, delay = rng.uniform(*self.strength), rng.uniform(*self.delays(controller))
        return Draw(strength, delay, float(np.exp(rng.uniform(*np.log(self.noise)))), seed)

    def rig(self, rig: Rig, seed: int) -> Rig:
        """A rig like `rig` with the properties of this seed, at its start."""
        drawn = self.draw(seed, rig.controller)
        sensors = replace(
            rig.sensors,
            displacement_noise=drawn.noise * rig.sensors.displacement_noise,
            force_noise=drawn.noise * rig.sensors.force_noise,
        )
        return Rig(
            self.network(rig.network, drawn.strength), rig.actuators, replace(rig.controller, delay=drawn.delay), sensors,
            rig.geometry, rig.motion, rig.ramp, rig.averaged, seed,
        )  # fmt: skip

    def network(self, network: Network, strength: float) -> Network:
        """The tested part `strength` times as strong, its channels zeroed at the start."""
        if strength == 1.0:
            return network
        laws = [self.stronger(law, strength) for law in network.laws]
        if laws == network.laws:
            kinds = ", ".join(sorted({type(law).__name__ for law in laws})) or "none"
            raise InputError(
                f"no law of the tested part has a strength that can be scattered (laws: {kinds}); allowed: laws with "
                f"{', '.join(STRENGTHS)} or points of a backbone, Spreads(stronger=…) of your own, or strength=(1, 1)"
            )
        springs = [(law, row.tolist()) for law, row in zip(laws, network.rows, strict=True)]
        options: dict[str, Any] = {"offsets": network.offsets, "memories": network.memories}
        if network.linear.size:
            options["linear"] = network.linear
        made = Network(springs, network.freedoms, network.internal, constant=network.constant, **options)
        zeroed = made.constant.copy()
        zeroed[: made.freedoms] -= Model(made).at_zero()
        return Network(springs, network.freedoms, network.internal, constant=zeroed, **options)


__all__ = ["Draw", "Spreads", "stronger"]
