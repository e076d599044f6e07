"""Energy accounts: of one analysis, of a chain of them, by law, and what damping took by member.

The work of the ground is the quadrature ∫p·v dt (load linear, velocity cubic in a step), that of other loads Σp̄·Δu, that
of moved supports ΣR̄·Δs with R their reactions, inertia included; the damping's is ΣΔu·C·v̄ and the algorithm's the identity
of the scheme: the imbalance is a measure, not a remainder that is defined away.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from frame2d.engine.plan import ALGORITHM, DAMPED
from frame2d.errors import InputError

if TYPE_CHECKING:
    from frame2d.analysis.response import Response

#: Whose work the account counts as input, and what becomes of it.
INPUTS = ("ground", "support", "applied", "standing")
OUTPUTS = ("kinetic", "members", "devices", "damped", "algorithmic")

#: What elastic members call recoverable.
ELASTIC = "½·uᵀ·K·u of linear members, the elastic strain energy at the present shape of second-order ones"


class LawEnergy(NamedTuple):
    """Energies (J, by step, since the start of the analysis) of one law, and what its law calls recoverable."""

    name: str
    law: str
    work: np.ndarray
    recoverable: np.ndarray
    dissipated: np.ndarray
    definition: str


def account(response: "Response") -> dict[str, np.ndarray]:
    """Energy account (J) by step, from the start of the analysis; keys as `Response.energies` says."""
    system, log, extra = response.system, response.log, response.extra
    dq = np.diff(log.q, axis=0, prepend=log.q[:1])
    free, supported = system.free, system.supported
    supports = response.support_history
    moving = bool(supports.size) and bool(np.any(np.ptp(supports, axis=0) > 0.0))
    zero = np.zeros(response.time.size)
    if moving or np.any(supports):
        u = response.all_displacements()
        elastic = 0.5 * np.einsum("ti,ti->t", u, (system.whole["stiffness"] @ u.T).T)
    else:
        elastic = 0.5 * np.einsum("ti,ti->t", log.q, (system.stiffness @ log.q.T).T)
    velocity = log.v
    kinetic = 0.5 * np.einsum("ti,ti->t", velocity, (system.mass @ velocity.T).T)
    support = zero.copy()
    if moving:
        v_all, a_all = log.v @ free.T, log.a @ free.T
        if "support_velocity" in extra:
            rows = slice(0, response.time.size)
            v_all = v_all + extra["support_velocity"][rows] @ supported.T
            a_all = a_all + extra["support_acceleration"][rows] @ supported.T
            kinetic = 0.5 * np.einsum("ti,ti->t", v_all, (system.whole["mass"] @ v_all.T).T)
        reaction = (response.internal_forces() + (system.whole["mass"] @ a_all.T).T) @ supported
        mean = 0.5 * (reaction[1:] + reaction[:-1])
        support[1:] = np.cumsum(np.einsum("tk,tk->t", mean, np.diff(supports, axis=0)))
    ground, applied = zero.copy(), zero.copy()
    if "patterns" in extra and extra["patterns"].shape[0]:
        first = 1 if extra.get("ground") is not None else 0
        if first:
            ground = _power_integral(
                extra["factors"][:, 0],
                log.v @ extra["patterns"][0],
                log.a @ extra["patterns"][0],
                extra["dt"],
            )
        for k in range(first, int(extra.get("forces", extra["patterns"].shape[0]))):
            factor = extra["factors"][:, k]
            mean = 0.5 * (factor + np.concatenate([factor[:1], factor[:-1]]))
            applied += np.cumsum(mean * (dq @ extra["patterns"][k]))
    standing = (log.q - log.q[0]) @ extra.get("base", np.zeros(system.count))
    devices = log.work[:, :-1].sum(axis=1) - log.work[0, :-1].sum()
    stored = log.stored[:, :-1].sum(axis=1)
    own = log.account - log.account[0]
    members = elastic - elastic[0]
    total_in = ground + support + applied + standing
    total_out = kinetic - kinetic[0] + members + devices + own[:, DAMPED] + own[:, ALGORITHM]
    return {
        "ground": ground,
        "support": support,
        "applied": applied,
        "standing": standing,
        "input": total_in,
        "kinetic": kinetic,
        "members": members,
        "devices": devices,
        "recoverable": stored,
        "dissipated": devices - (stored - stored[0]),
        "released": np.full(response.time.size, response.state.released),
        "damped": own[:, DAMPED],
        "algorithmic": own[:, ALGORITHM],
        "imbalance": total_in - total_out,
    }


def chain(responses: "Sequence[Response]") -> dict[str, np.ndarray]:
    """One account (J) of analyses that went on from each other's states, with the times (s) of all steps.

    "released" is the energy that removed devices took with them since the start: part of the work of "devices", and
    neither recoverable nor dissipated in the frame. Raises `InputError` without responses.
    """
    if not responses:
        raise InputError("responses is empty; allowed: one or more, in the order they were run")
    accounts = [account(response) for response in responses]
    start = responses[0].state.released
    table: dict[str, np.ndarray] = {}
    for name in accounts[0]:
        pieces, so_far = [], 0.0
        for one in accounts:
            if name in ("kinetic", "recoverable"):
                pieces.append(one[name])
            elif name == "released":
                pieces.append(one[name] - start)
            else:
                pieces.append(so_far + one[name])
                so_far = float(pieces[-1][-1])
        table[name] = np.concatenate(pieces)
    held = table["recoverable"] - table["recoverable"][0]
    table["dissipated"] = table["devices"] - held - table["released"]
    times, now = [], 0.0
    for response in responses:
        spent = response.time - response.time[0] if "dt" in response.extra else np.zeros(response.time.size)
        times.append(now + spent)
        now = float(times[-1][-1])
    table["time"] = np.concatenate(times)
    return table


def by_law(response: "Response") -> list[LawEnergy]:
    """Work, recoverable and dissipated energy of every law, with its law's definition of recoverable."""
    table = []
    places = [place for place in response.system.parts if place.part.law is not None]
    for name, place in zip(response.laws(), places, strict=True):
        work = response.log.work[:, place.number] - response.log.work[0, place.number]
        stored = response.log.stored[:, place.number]
        law = place.part.law
        table.append(
            LawEnergy(name, type(law).__name__, work, stored, work - (stored - stored[0]), law.recoverable)
        )
    return table


def damping_by_member(response: "Response") -> dict[str, np.ndarray]:
    """What damping took (J, by step) from each member by its stiffness, and from "mass" by the masses.

    ΣΔu·(a₁·K)·v̄ with the histories of the steps: the sum is the account's "damped" where no step was halved. Damping by
    modes has no members: then all of it stands under "modes".
    """
    damped = account(response)["damped"]
    if "damping_coefficients" not in response.extra:
        return {"modes": damped} if np.any(damped != 0.0) else {}
    a0, a1 = response.extra["damping_coefficients"]
    system, log = response.system, response.log
    dq, v = np.diff(log.q, axis=0), 0.5 * (log.v[1:] + log.v[:-1])
    table = {}
    for name, own in system.freedoms_of.items():
        matrix = a1 * system.pieces[name].damped
        rows = system.free[own]
        if np.any(matrix):
            power = np.einsum("ti,ij,tj->t", dq @ rows.T, matrix, v @ rows.T)
            table[name] = np.concatenate([[0.0], np.cumsum(power)])
    if a0:
        power = a0 * np.einsum("ti,ti->t", dq, (system.mass @ v.T).T)
        table["mass"] = np.concatenate([[0.0], np.cumsum(power)])
    return table


def text(response: "Response") -> str:
    """The account at the last step as text, with every definition of recoverable energy."""
    table = account(response)
    lines = [f"Energy account of the {response.kind} of {response.system.frame.name}, kJ at the last step"]
    for title, names in (("in", INPUTS), ("out", OUTPUTS)):
        for name in names:
            value = table[name][-1] - (table[name][0] if name == "kinetic" else 0.0)
            lines.append(f"  {title:3s} {name:12s} {value / 1e3:12.5g}")
    lines.append(f"  of the devices' work: dissipated {table['dissipated'][-1] / 1e3:.5g},")
    lines.append(f"  recoverable now {table['recoverable'][-1] / 1e3:.5g}")
    if response.state.released:
        lines.append(f"  released with removed devices before {response.state.released / 1e3:.5g}")
    lines.append(f"  imbalance {response.imbalance():.2e} of the largest input")
    lines.append("Recoverable is, by law:")
    defined = {one.law: one.definition for one in by_law(response)}
    lines += [f"  {law}: {definition}" for law, definition in sorted(defined.items())]
    lines.append(f"  elastic members: {ELASTIC}")
    return "\n".join(lines)


def _power_integral(p: np.ndarray, v: np.ndarray, a: np.ndarray, dt: float) -> np.ndarray:
    """∫p·v dt so far, exact for p linear and v cubic (from v and a at both ends) in each step."""
    p0, p1, v0, v1, a0, a1 = p[:-1], p[1:], v[:-1], v[1:], a[:-1], a[1:]
    even = 0.5 * (v0 + v1) + dt * (a0 - a1) / 12.0
    rising = 0.15 * v0 + 0.35 * v1 + dt * (a0 / 30.0 - a1 / 20.0)
    return np.concatenate([[0.0], np.cumsum(dt * (p0 * even + (p1 - p0) * rising))])
