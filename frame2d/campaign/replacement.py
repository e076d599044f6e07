"""Replacement of devices: take out, let the frame re-centre, put new ones in free of stress; with a log.

Devices go group by group, as on a site: the rest of the frame must carry its gravity while one is out. While a group is
out, the frame finds its equilibrium ("released") or is held where it is, as by an actuator ("held"). A new device is
free of stress at the geometry it meets; what its connections must give way for that is the fit-up misfit.
"""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from dataclasses import replace as changed
from typing import Any

import numpy as np

from frame2d.analysis import AnalysisError, Outcome, Response, static
from frame2d.campaign.transfer import at_rest, displacements, member_forces, moved_to, settled, without
from frame2d.errors import Frame2dError, InputError, known
from frame2d.model.frame import NodeLoad
from frame2d.model.state import State
from frame2d.model.system import PartPlace, System

MODES = ("released", "held")
#: Load case by which the forces of a device that is taken out leave the frame step by step.
LEAVING = "forces of devices taken out"


@dataclass(frozen=True)
class Swap:
    """One law of one replaced device; deformation and force in m and N, or rad and N·m if it `turns`."""

    device: str
    law: str
    group: int
    turns: bool
    #: Force locked in when the old device was taken out.
    locked_in: float
    #: Recoverable energy that left with the law, J.
    released: float
    #: By how much the connection of the new device differs from the drawn geometry.
    misfit: float
    #: Force in the new law right after it was put in, and once all works were done.
    first_force: float
    last_force: float


@dataclass(frozen=True)
class Replacement:
    """What replacing did: swaps, residual drifts by floor before and after, energy released (J), forces of fit.

    `fit_force` is the largest force on the nodes (N) by which a new device resists being put in, where it has no law
    that could take the misfit up (a beam's length, for example); zero means that it just fits.
    """

    mode: str
    groups: tuple[tuple[str, ...], ...]
    swaps: tuple[Swap, ...]
    drift_before: dict[str, float]
    drift_after: dict[str, float]
    released: float
    fit_force: dict[str, float]

    @property
    def largest_before(self) -> float:
        """Largest residual drift ratio before the works."""
        return max(map(abs, self.drift_before.values()), default=0.0)

    @property
    def largest_after(self) -> float:
        """Largest residual drift ratio after the works."""
        return max(map(abs, self.drift_after.values()), default=0.0)

    @property
    def recentred(self) -> bool:
        """Whether the works made the largest residual drift smaller."""
        return self.largest_after < self.largest_before

    def as_data(self) -> dict[str, Any]:
        """Plain data."""
        own = {"largest_before": self.largest_before, "largest_after": self.largest_after}
        plain: dict[str, Any] = json.loads(json.dumps(asdict(self)))
        return {**plain, **own, "recentred": self.recentred}

    @classmethod
    def from_data(cls, data: dict[str, Any]) -> "Replacement":
        """From `as_data`."""
        return cls(
            data["mode"],
            tuple(tuple(group) for group in data["groups"]),
            tuple(Swap(**swap) for swap in data["swaps"]),
            dict(data["drift_before"]),
            dict(data["drift_after"]),
            data["released"],
            dict(data["fit_force"]),
        )


def rest(system: System, state: State, steps: int = 1) -> Response:
    """Static equilibrium from a state that may still move: where the frame comes to rest."""
    return static(system, at_rest(state), {}, steps)


def replace_devices(
    system: System,
    state: State,
    devices: Sequence[str],
    *,
    groups: Sequence[Sequence[str]] | None = None,
    mode: str = "released",
    steps: int = 4,
) -> tuple[State, Replacement]:
    """Replace `devices` in `groups` (None: one after the other, in the given order); returns a state at rest.

    Forces of a group leave the frame in `steps` steps. Raises `InputError` for unknown names, for groups that are not
    the devices, and where the frame cannot stand without a group.
    """
    known("mode of replacement", mode, MODES)
    names = [known("device", name, system.frame.devices()) for name in devices]
    order = [list(group) for group in groups] if groups is not None else [[name] for name in names]
    if sorted(name for group in order for name in group) != sorted(names) or len(set(names)) != len(names):
        raise InputError(f"groups hold {order}; allowed: each of the devices {names} once")
    now = rest(system, state).state
    before = residual_drifts(system, now)
    raw: list[dict[str, Any]] = []
    fit: dict[str, float] = {}
    gone = 0.0
    for number, group in enumerate(order, start=1):
        now, swaps, energy, forces = _swap(system, now, group, number, mode, steps)
        raw += swaps
        gone += energy
        fit.update(forces)
    after = residual_drifts(system, now)
    swaps_done = tuple(
        Swap(**entry, last_force=_law_force(place, now))
        for entry in raw
        for place in [_find(system, entry["device"], entry["law"])]
    )
    done = Replacement(mode, tuple(map(tuple, order)), swaps_done, before, after, gone, fit)
    return now, done


def _swap(
    system: System, state: State, group: list[str], number: int, mode: str, steps: int
) -> tuple[State, list[dict[str, Any]], float, dict[str, float]]:
    """One group out and in; returns the new state, raw log, energy released, forces of fit."""
    places = [place for place in system.parts if place.member in group and place.part.law is not None]
    locked = [_law_force(place, state) for place in places]
    stored = [float(state.motion.stored[place.number]) for place in places]
    energy = sum(stored) + sum(_elastic_energy(system, state, name) for name in group)
    open_state = _opened(system, state, group, steps) if mode == "released" else state
    put, forces = _installed(system, open_state, group)
    misfits = [_misfit(place, put) for place in places]
    first = [_law_force(place, put) for place in places]
    closed = rest(system, put, steps).state
    # The engine books the laws' energy when it resets them; that of elastic lengths comes on top.
    closed = changed(closed, released=state.released + energy, replaced=(*state.replaced, *group))
    log = [
        {
            "device": place.member, "law": place.part.role, "group": number, "turns": _turns(system, place),
            "locked_in": locked[k], "released": stored[k], "misfit": misfits[k], "first_force": first[k],
        }
        for k, place in enumerate(places)
    ]  # fmt: skip
    return closed, log, energy, forces


def _opened(system: System, state: State, group: list[str], steps: int) -> State:
    """Equilibrium of the frame without the group, on the whole system (the group's inner freedoms are stale)."""
    frame = without(system.frame, group)
    for name in group:
        placed = system.frame.members[name]
        forces = -member_forces(system, state, name)[:6]
        for node, part in ((placed.i, forces[:3]), (placed.j, forces[3:])):
            fx, fy, mz = map(float, part)
            frame.node_loads.append(NodeLoad(node, fx, fy, mz, LEAVING))
    try:
        opened = frame.compile()
    except InputError as error:
        raise InputError(f"devices {', '.join(group)} cannot be taken out together: {error}") from None
    start = moved_to(system, state, opened)
    load = start.load + opened.load_vector(LEAVING)
    start = changed(start, load=load, cases={**start.cases, LEAVING: 1.0})
    try:
        let_go = static(opened, start, {LEAVING: -1.0}, steps)
    except AnalysisError as error:
        raise Frame2dError(
            f"the frame finds no equilibrium without {', '.join(group)}; replace in smaller groups, or prop it. {error}"
        ) from error
    if let_go.outcome is not Outcome.COMPLETED or let_go.counts()["negative pivots"] > 0:
        raise Frame2dError(
            f"the frame is unstable without {', '.join(group)} (negative pivots in its tangent); replace in smaller "
            "groups, or prop it"
        )
    after = let_go.state
    cases = {case: factor for case, factor in after.cases.items() if case != LEAVING}
    return moved_to(opened, changed(after, cases=cases), system)


def _installed(system: System, opened: State, group: list[str]) -> tuple[State, dict[str, float]]:
    """New devices at the geometry of `opened`, free of stress as far as their laws can take the misfit up."""
    motion = opened.copy_motion()
    u = displacements(system, opened)
    forces = {}
    for name in group:
        own, pieces = system.freedoms_of[name], system.pieces[name]
        outer, inner = own[:6], own[6:]
        stiffness = pieces.damped
        if inner.size:
            # Elastic lengths straight, hinges open: the inner freedoms follow the nodes without force.
            u[inner] = -np.linalg.lstsq(stiffness[6:, 6:], stiffness[6:, :6] @ u[outer], rcond=1e-12)[0]
        forces[name] = float(np.abs((stiffness @ u[own])[[0, 1, 3, 4]]).max(initial=0.0))
    motion.q[:] = u[system.leads]
    placed = settled(system, changed(opened, motion=motion))
    return settled(system, system.replace_devices(placed, group)), forces


def _find(system: System, device: str, role: str) -> PartPlace:
    return next(place for place in system.parts if place.member == device and place.part.role == role)


def _law_force(place: PartPlace, state: State) -> float:
    """Force of a law: of a bar in its own direction, of a force-moment hinge its moment."""
    f = state.motion.f0[place.first : place.last]
    if f.size == 4:
        L, c, s, exact = place.part.parameters[:4]
        du, dv = (
            state.motion.d0[place.first + 2 : place.last] - state.motion.d0[place.first : place.first + 2]
        )
        if exact > 0.0:
            length = np.hypot(L * c + du, L * s + dv)
            return float((f[2] * (L * c + du) + f[3] * (L * s + dv)) / length)
        return float(c * f[2] + s * f[3])
    return float(f[-1])


def _misfit(place: PartPlace, state: State) -> float:
    """Deformation at which the law is free of stress; for a force-moment hinge its rotation."""
    return float(place.free_deformation(state.motion.d0)[-1])


def _turns(system: System, place: PartPlace) -> bool:
    touched = np.abs(place.part.transform[-1:]).sum(axis=0) > 0.0
    width = place.last - place.first
    return width <= 2 and bool(np.all(system.kinds[system.freedoms_of[place.member][touched]] == "r"))


def _elastic_energy(system: System, state: State, name: str) -> float:
    """½·uᵀKu of the elastic lengths, first order."""
    own = system.freedoms_of[name]
    u = displacements(system, state)[own]
    return float(0.5 * u @ system.pieces[name].damped @ u)


def residual_drifts(system: System, state: State) -> dict[str, float]:
    """Storey drift ratios by the floor above."""
    u = displacements(system, state)
    below, height, result = 0.0, system.frame.ground(), {}
    for name, level in system.frame.levels():
        here = float(np.mean([u[3 * system.node_index[node]] for node in system.frame.floors[name].nodes]))
        if level > height:
            result[name] = (here - below) / (level - height)
        below, height = here, level
    return result


__all__ = ["MODES", "Replacement", "Swap", "replace_devices", "residual_drifts", "rest"]
