"""A hybrid test told as one response of the whole frame: computed part, tested part led through what was measured.

The tested part's inside is not measured: a model of it, the twin, is led through the achieved interface displacements
and says what its members went through and what its laws remember. Where a channel is a law's own deformation and force,
the measured force stands in the response instead of the twin's.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from frame2d.analysis.outcome import Outcome
from frame2d.analysis.response import Response, new_log
from frame2d.campaign.transfer import settled
from frame2d.errors import InputError
from frame2d.hybrid import FrameSpecimen, part_state
from frame2d.hybrid.frame_specimen import held_at
from frame2d.instruments.follow import follow_specimen
from frame2d.model.state import State
from frame2d.model.system import System
from frame2d.substructure import Split
from frame2d.substructure.joined import twin


def whole_system(split: Split) -> System:
    """The frame that stands for both parts: the whole, or the joined parts where the cut releases freedoms."""
    return split.joined_system if split.released else split.whole_system


def source(split: Split) -> str:
    """Name of `whole_system` for `Split.share`."""
    return "joined" if split.released else "whole"


def twin_specimen(split: Split, state: State, directions: np.ndarray | None) -> FrameSpecimen:
    """Model of the tested part where the whole stands in `state`."""
    system = held_at(split.tested, split.interface).compile()
    own = split.share(state, source(split))["tested"]
    return FrameSpecimen(system, split.interface, directions, part_state(split.tested_system, own, system))


def whole_response(
    split: Split,
    begin: State,
    computed: Response,
    displacement: np.ndarray,
    directions: np.ndarray | None = None,
    measured_force: Mapping[str, np.ndarray] | None = None,
) -> Response:
    """Response of `whole_system(split)` from the computed part's and the measured interface displacements (steps, freedoms).

    `begin` is the state of the whole in which the test began. `measured_force` gives, by law, the measured histories of
    force (N, from zero at the start) of laws that a channel measures by itself.
    """
    system = whole_system(split)
    rows = computed.time.size
    if displacement.shape[0] != rows - 1:
        raise InputError(
            f"displacement has {displacement.shape[0]} steps, the computed part {rows - 1}; allowed: as many"
        )
    led = follow_specimen(twin_specimen(split, begin, directions), displacement)
    log, motion = new_log(system, rows), system.rest().copy_motion()
    names = {
        "tested": lambda node: twin(split, node) if split.released else node,
        "computed": lambda node: node,
    }
    u, v, a = (np.zeros((rows, system.size)) for _ in range(3))
    mine = np.zeros(system.size, dtype=bool)
    for part, response in (("tested", led), ("computed", computed)):
        own = response.system
        moves = response.all_displacements()
        if part == "computed":
            rates = (response.log.v @ own.free.T, response.log.a @ own.free.T)
        else:  # led by statics: its rates are those of its displacements
            speed = np.gradient(moves, computed.extra["dt"], axis=0)
            rates = (speed, np.gradient(speed, computed.extra["dt"], axis=0))
        tables = ((u, moves), (v, rates[0]), (a, rates[1]))
        for node, number in own.node_index.items():
            there = (
                3 * system.node_index[names[part](node)] if names[part](node) in system.node_index else None
            )
            if there is not None:
                for table, values in tables:
                    table[:, there : there + 3] = values[:, 3 * number : 3 * number + 3]
                mine[there : there + 3] |= part == "computed"
        for name, freedoms in own.freedoms_of.items():
            if name in system.freedoms_of:
                for table, values in tables:
                    table[:, system.freedoms_of[name][6:]] = values[:, freedoms[6:]]
                mine[system.freedoms_of[name][6:]] = part == "computed"
        _copy_parts(system, response, log, motion.m0)
    leads = _leads(system, mine)
    log.q[:], log.v[:], log.a[:] = u[:, leads], v[:, leads], a[:, leads]
    log.account[:], log.counts[:] = computed.log.account, computed.log.counts
    for law, force in (measured_force or {}).items():
        _put_measured(system, log, law, force)
    supports = np.tile(begin.supports, (rows, 1))
    motion.q[:], motion.m1[:] = log.q[-1], motion.m0
    end = settled(system, replace(begin, motion=motion, time=float(computed.time[-1])))
    ground = computed.extra["ground"]
    extra = {
        **{key: computed.extra[key] for key in ("dt", "scheme", "ground", "drift_limit")},
        "influence": system.influence(), "patterns": -system.influence()[None, :], "factors": ground[:, None],
        "base": begin.load, **_cases(begin, rows),
    }  # fmt: skip
    complete = computed.outcome is Outcome.COMPLETED
    return Response(
        system, "time history", computed.time, log, supports, end,
        Outcome.COMPLETED if complete else Outcome.INTERRUPTED, extra, computed.totals,
    )  # fmt: skip


def _leads(system: System, computed: np.ndarray) -> np.ndarray:
    """For each free freedom one of all that moves as it does, of the computed part where there is one."""
    leads = system.leads.copy()
    alone = np.flatnonzero((np.diff(system.free.indptr) == 1) & computed)
    first = system.free.indptr[alone]
    same = system.free.data[first] == 1.0
    leads[system.free.indices[first[same]]] = alone[same]
    return leads


def _copy_parts(system: System, response: Response, log, memory: np.ndarray) -> None:  # type: ignore[no-untyped-def]
    """Forces, work, recoverable energies and last memories of the parts that a response has."""
    here = {(place.member, place.part.role): place for place in system.parts}
    own = response.system
    for place in own.parts:
        to = here.get((place.member, place.part.role))
        if to is None:
            continue
        log.force[:, to.first : to.last] = response.log.force[:, place.first : place.last]
        log.work[:, to.number] = response.log.work[:, place.number]
        log.stored[:, to.number] = response.log.stored[:, place.number]
        first, second = system.memory_at[to.number], own.memory_at[place.number]
        size = to.part.memory.size
        memory[first : first + size] = response.state.motion.m0[second : second + size]


def law_place(system: System, law: str):  # type: ignore[no-untyped-def]
    """Part of a law, by its name in `Response.laws`, that has one deformation; raises `InputError`."""
    member, _, role = law.partition(": ")
    found = [
        p for p in system.parts if p.member == member and p.part.law is not None and role in ("", p.part.role)
    ]
    if len(found) != 1 or found[0].last - found[0].first != 1:
        raise InputError(
            f"law {law!r} is not one law with one deformation; allowed: links, hinges, linear braces"
        )
    return found[0]


def _put_measured(system: System, log, law: str, force: np.ndarray) -> None:  # type: ignore[no-untyped-def]
    """The measured force of a law in place of the twin's, and the work that goes with it."""
    place = law_place(system, law)
    u = log.q @ np.asarray((system.gather_all[place.first] @ system.free).todense()).ravel()
    whole = log.force[0, place.first] + force
    log.force[:, place.first] = whole
    work = np.concatenate([[0.0], np.cumsum(0.5 * (whole[1:] + whole[:-1]) * np.diff(u))])
    log.work[:, place.number] = log.work[0, place.number] + work


def _cases(state: State, rows: int) -> dict[str, object]:
    import json

    names = sorted(state.cases)
    factors = np.array([np.full(rows, state.cases[name]) for name in names]).reshape(len(names), rows)
    return {"case names": json.dumps(names), "case factors": factors}
