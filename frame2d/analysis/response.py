"""`Response`: labelled histories of an analysis, its energies, its final state, and how it went."""

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from frame2d.analysis import energy
from frame2d.analysis.outcome import Outcome
from frame2d.engine.plan import (
    EVALUATIONS,
    FACTORISATIONS,
    FALLBACKS,
    HALVINGS,
    ITERATIONS,
    NEGATIVE,
    REFINED,
    REPLACED,
    SEARCHES,
    Motion,
)
from frame2d.errors import InputError, known
from frame2d.model.state import State
from frame2d.written import written

if TYPE_CHECKING:
    from frame2d.analysis.along import Along
    from frame2d.model.system import PartPlace, System

#: Kinds of tables that a response exports.
TABLES = ("main", "energies", "devices", "reactions")

COUNTS = ("iterations", "factorisations", "evaluations", "halvings", "negative pivots")
#: Counts of the whole analysis, with their entries in `Response.totals`.
MET = {
    "line searches": SEARCHES,
    "replaced pivots": REPLACED,
    "refinements": REFINED,
    "pivoted solves": FALLBACKS,
}


class Log(NamedTuple):
    """Raw histories, one row a step: free displacements, velocities, accelerations, part forces, work, counts."""

    q: np.ndarray
    v: np.ndarray
    a: np.ndarray
    force: np.ndarray
    work: np.ndarray
    stored: np.ndarray
    account: np.ndarray
    counts: np.ndarray

    def arrays(self) -> tuple[np.ndarray, ...]:
        """As the engine takes them."""
        return tuple(self)

    def put(self, row: int, motion: Motion, room: Any = None) -> None:
        """Write one row from Python, with the work since the row before."""
        self.q[row], self.v[row], self.a[row] = motion.q, motion.v, motion.a
        self.force[row], self.work[row], self.stored[row] = motion.f0, motion.work, motion.stored
        self.account[row] = motion.account
        if room is not None:
            since = room.counts - room.counts_before
            self.counts[row, :4] = since[[ITERATIONS, FACTORISATIONS, EVALUATIONS, HALVINGS]]
            self.counts[row, 4] = room.counts[NEGATIVE]
            room.counts_before[:] = room.counts

    def cut(self, rows: int) -> "Log":
        """First rows only."""
        return Log(*(array[:rows] for array in self))


def _weighed(table: np.ndarray, row: np.ndarray) -> np.ndarray:
    """table @ row by the columns that count: a product with all would keep linear-algebra threads spinning for 0.1 s."""
    columns = np.flatnonzero(row)
    return np.asarray((table[:, columns] * row[columns]).sum(axis=1))


def new_log(system: "System", rows: int) -> Log:
    """Empty log."""
    n, width, parts = system.count, system.gather_all.shape[0] + 1, len(system.parts) + 1
    widths = (n, n, n, width, parts, parts, 4, len(COUNTS))
    # One piece of memory: the system hands out large ones in large pages, which halves the time to fill a long log.
    memory = np.zeros(rows * sum(widths))
    ends = rows * np.cumsum(widths)
    pieces = [memory[end - rows * wide : end] for wide, end in zip(widths, ends, strict=True)]
    return Log(*(piece.reshape(rows, wide) for piece, wide in zip(pieces, widths, strict=True)))


class DeviceLoop(NamedTuple):
    """Deformation (m or rad) and force (N or N·m) of one law, by step, with its work (J)."""

    deformation: np.ndarray
    force: np.ndarray
    work: np.ndarray
    recoverable: np.ndarray


@dataclass(frozen=True)
class Response:
    """Histories by name. Times in s (steps in statics), displacements in m and rad, forces in N and N·m."""

    system: "System"
    kind: str
    time: np.ndarray
    log: Log
    support_history: np.ndarray
    state: State
    outcome: Outcome
    extra: dict[str, Any]
    totals: np.ndarray

    @property
    def factor(self) -> np.ndarray:
        """Load factor of a push; `InputError` for other analyses."""
        if "factor" not in self.extra:
            raise InputError(f"a {self.kind} has no load factor; allowed: the response of push or cyclic")
        return np.asarray(self.extra["factor"])

    @property
    def criterion(self) -> str:
        """Why the analysis ended as collapsed or interrupted; empty when it completed."""
        return str(self.extra.get("criterion", ""))

    def all_displacements(self) -> np.ndarray:
        """Displacements of all freedoms, steps × freedoms."""
        return np.asarray(self.log.q @ self.system.free.T + self.support_history @ self.system.supported.T)

    def displacement(self, node: str, component: str = "ux") -> np.ndarray:
        """History of a node's displacement, relative to the ground."""
        return self._pick(self.log.q, node, component, self.support_history)

    def velocity(self, node: str, component: str = "ux") -> np.ndarray:
        """History of a node's relative velocity."""
        return self._pick(self.log.v, node, component)

    def acceleration(self, node: str, component: str = "ux", absolute: bool = True) -> np.ndarray:
        """History of a node's acceleration; `absolute` adds the ground's."""
        relative = self._pick(self.log.a, node, component)
        ground = self.extra.get("ground")
        if absolute and component == "ux" and ground is not None:
            full = np.zeros_like(relative)
            full[: ground.size] = ground
            return relative + full
        return relative

    def _pick(
        self, table: np.ndarray, node: str, component: str, supports: np.ndarray | None = None
    ) -> np.ndarray:
        history = _weighed(table, self.system.row(node, component))
        if supports is not None:
            from frame2d.model.freedoms import node_freedom

            freedom = node_freedom(self.system.node_index, node, component)
            held = np.asarray(self.system.supported[freedom].todense()).ravel()
            history = history + _weighed(supports, held)
        return history

    def floor(self, name: str) -> np.ndarray:
        """Mean horizontal displacement of a floor."""
        nodes = self.system.frame.floors[known("floor", name, self.system.frame.floors)].nodes
        return np.mean([self.displacement(node) for node in nodes], axis=0)

    def drifts(self) -> dict[str, np.ndarray]:
        """Storey drift ratios by the floor above, of the floors' means (see `frame2d.model.storeys`)."""
        found = self.system.storeys()
        return dict(zip(found.names, found.ratios(self.log.q, self.support_history).T, strict=True))

    def member_forces(self, name: str) -> np.ndarray:
        """Forces of a member on its own freedoms (global axes; two nodes by three, then inner), steps × freedoms."""
        known("member", name, self.system.pieces)
        pieces, own = self.system.pieces[name], self.system.freedoms_of[name]
        forces = self.all_displacements()[:, own] @ pieces.stiffness.T
        for place in self.system.parts:
            if place.member == name:
                forces = forces + self.log.force[:, place.first : place.last] @ place.part.transform
        return np.asarray(forces)

    def end_forces(self, name: str) -> dict[str, np.ndarray]:
        """N, V and M at both ends of a member in its straight axes: tension, and end forces on the member.

        Loads along the member are included. The ends are the nodes, the axes run from node to node: rigid offsets belong
        to the member (`along` has the values at the clear ends).
        """
        placed = self.system.frame.members[known("member", name, self.system.frame.members)]
        i, j = self.system.frame.nodes[placed.i], self.system.frame.nodes[placed.j]
        length = float(np.hypot(j.x - i.x, j.y - i.y))
        c, s = ((j.x - i.x) / length, (j.y - i.y) / length) if length > 0.0 else (1.0, 0.0)
        forces = self.member_forces(name)
        factors = self.case_factors()
        for load in self.system.frame.member_loads:
            if load.member == name and load.case in factors:
                forces = forces - np.outer(factors[load.case], self.system.equivalent(load))
        return {
            "N": c * forces[:, 3] + s * forces[:, 4],
            "N_start": -(c * forces[:, 0] + s * forces[:, 1]),
            "V_start": -s * forces[:, 0] + c * forces[:, 1],
            "M_start": forces[:, 2],
            "V_end": -s * forces[:, 3] + c * forces[:, 4],
            "M_end": forces[:, 5],
        }

    def along(self, name: str, step: int = -1, points: int = 201, offsets: bool = False) -> "Along":
        """Inner forces and deflections along a beam-column at one step (see `frame2d.analysis.along`)."""
        from frame2d.analysis.along import along

        return along(self, name, step, points, offsets)

    def case_factors(self) -> dict[str, np.ndarray]:
        """Factors of the load cases that act, by step."""
        names = json.loads(self.extra.get("case names", "[]"))
        return {case: np.asarray(self.extra["case factors"][k]) for k, case in enumerate(names)}

    def reactions(self) -> dict[tuple[str, str], np.ndarray]:
        """Force of the ground on each supported freedom by (node, component), from members and load cases."""
        total = self.internal_forces()
        for case, factor in self.case_factors().items():
            total = total - np.outer(factor, self.system.load_all(case))
        back = np.asarray(total @ self.system.supported)
        names = list(self.system.node_index)
        components = ("ux", "uy", "rz")
        return {
            (names[freedom // 3], components[freedom % 3]): back[:, k]
            for k, freedom in enumerate(self.system.held)
        }

    def internal_forces(self) -> np.ndarray:
        """Internal forces on all freedoms (N, N·m), steps × freedoms."""
        total = self.all_displacements() @ self.system.whole["stiffness"].T
        width = self.system.gather_all.shape[0]
        return np.asarray(total + self.log.force[:, :width] @ self.system.gather_all)

    def base_shear(self) -> np.ndarray:
        """Sum of the horizontal reactions, positive when the ground holds the frame against +x... N."""
        return -np.sum([force for (_, part), force in self.reactions().items() if part == "ux"], axis=0)

    def laws(self) -> list[str]:
        """Names of everything that has a loop: "member" or "member: role"."""
        return [self.law_name(place) for place in self.system.parts if place.part.law is not None]

    def law_name(self, place: "PartPlace") -> str:
        """Name in `laws()` of a part that is a law."""
        several = (
            sum(other.member == place.member and other.part.law is not None for other in self.system.parts)
            > 1
        )
        return f"{place.member}: {place.part.role}" if several else place.member

    def device(self, name: str) -> DeviceLoop:
        """Loop of one law, by a name of `laws()`."""
        known("device", name, self.laws())
        for place in self.system.parts:
            if place.part.law is not None and self.law_name(place) == name:
                if place.last - place.first == 4:
                    return self._bar_loop(place)
                # An axial force-moment hinge shows its rotation and moment.
                last = place.last - 1
                row = self.system.gather_all[last]
                deformation = np.asarray(self.all_displacements() @ row.T).ravel()
                free = self.log_offset(place)
                force = self.log.force[:, last]
                return DeviceLoop(
                    deformation - free,
                    force,
                    self.log.work[:, place.number],
                    self.log.stored[:, place.number],
                )
        raise AssertionError(name)

    def log_offset(self, place: "PartPlace") -> float:
        """Deformation at which the law is free of stress."""
        shift = 1 if place.last - place.first == 2 else 0
        return float(self.state.motion.m0[self.system.memory_at[place.number] + shift])

    def _bar_loop(self, place: "PartPlace") -> DeviceLoop:
        u = np.asarray(self.all_displacements() @ self.system.gather_all[place.first : place.last].T)
        L, c, s = place.part.parameters[:3]
        du, dv = u[:, 2] - u[:, 0], u[:, 3] - u[:, 1]
        f = self.log.force[:, place.first : place.last]
        if place.part.parameters[3] > 0.0:
            length = np.hypot(L * c + du, L * s + dv)
            stretch = length - L
            rx, ry = (L * c + du) / length, (L * s + dv) / length
            force = f[:, 2] * rx + f[:, 3] * ry
        else:
            psi = (c * dv - s * du) / L
            stretch = c * du + s * dv + 0.5 * psi**2 * L
            force = c * f[:, 2] + s * f[:, 3]
        return DeviceLoop(
            stretch - self.log_offset(place),
            force,
            self.log.work[:, place.number],
            self.log.stored[:, place.number],
        )

    def energies(self) -> dict[str, np.ndarray]:
        """Energy account (J) from the start of this analysis, relative to the ground (see `frame2d.analysis.energy`).

        The work of "ground", moved "support"s, "applied" and "standing" loads is the "input"; it becomes "kinetic",
        "members" (linear ones), "devices" (all parts), "damped", "algorithmic" and "imbalance". "devices" splits into
        "recoverable" (now held) and "dissipated"; "released" is what removed devices took away before.
        """
        return energy.account(self)

    def law_energies(self) -> "list[energy.LawEnergy]":
        """Work, recoverable and dissipated energy of every law, with the definition of its recoverable part."""
        return energy.by_law(self)

    def damping_by_member(self) -> dict[str, np.ndarray]:
        """What damping took (J), by member and from "mass"; under "modes" where it belongs to no member."""
        return energy.damping_by_member(self)

    def energy_text(self) -> str:
        """The account at the last step as text, with every definition of recoverable energy."""
        return energy.text(self)

    def imbalance(self) -> float:
        """Largest energy imbalance over time, divided by the largest input energy."""
        energies = self.energies()
        scale = max(
            np.abs(energies["input"]).max(), np.abs(energies["ground"]).max(), energies["kinetic"].max()
        )
        return float(np.abs(energies["imbalance"]).max() / scale) if scale > 0.0 else 0.0

    def counts(self) -> dict[str, int]:
        """Work and trouble of the solver: totals of the steps that were logged, and what the whole analysis met.

        Of the steps: iterations, factorisations, evaluations of all laws, halvings; and the largest number of negative
        pivots. Of the analysis: lengths tried by line searches, pivots replaced, refinements of a solution, and solves
        that went to pivoted factors.
        """
        sums = self.log.counts.sum(axis=0).astype(int)
        met = {name: int(self.totals[entry]) for name, entry in MET.items()}
        return {
            **dict(zip(COUNTS[:4], sums[:4].tolist(), strict=True)),
            "negative pivots": int(self.log.counts[:, 4].max(initial=0)),
            **met,
        }

    def pivot_growth(self) -> float:
        """Largest growth of entries in a factorisation, over the largest entry of the tangent (`frame2d.engine.solve`).

        1 where all pivots were positive, which lets nothing grow. Half the digits are lost at 1e8.
        """
        return max(1.0, float(self.extra.get("pivot growth", 1.0)))

    def table(self, kind: str = "main") -> dict[str, np.ndarray]:
        """Histories by column name with units, for export: a kind of `TABLES`, "main" by default.

        "main": floors, drifts, base shear; "energies"; "devices": deformation and force of every law; "reactions".
        """
        columns = {"time (s)" if "dt" in self.extra else "step (-)": self.time}
        known("table", kind, TABLES)
        if kind == "main":
            for name, _ in self.system.frame.levels():
                columns[f"{name} ux (m)"] = self.floor(name)
            for name, drift in self.drifts().items():
                columns[f"{name} drift (-)"] = drift
            columns["base shear (N)"] = self.base_shear()
            if "factor" in self.extra:
                columns["load factor (-)"] = self.factor
        elif kind == "energies":
            columns |= {f"{name} (J)": values for name, values in self.energies().items()}
        elif kind == "devices":
            for name in self.laws():
                loop, (u, f) = self.device(name), self._units(name)
                columns[f"{name} deformation ({u})"] = loop.deformation
                columns[f"{name} force ({f})"] = loop.force
        else:
            for (node, component), force in self.reactions().items():
                columns[f"{node} {component} ({'N·m' if component == 'rz' else 'N'})"] = force
        return columns

    def _units(self, name: str) -> tuple[str, str]:
        """Units of a law's deformation and force, by what it is a law of."""
        for place in self.system.parts:
            if place.part.law is not None and self.law_name(place) == name:
                touched = np.abs(place.part.transform[-1]) > 0.0
                kinds = self.system.kinds[self.system.freedoms_of[place.member][touched]]
                return ("rad", "N·m") if np.all(kinds == "r") else ("m", "N")
        raise AssertionError(name)

    @classmethod
    def load(cls, path: Any) -> "Response":
        """Read what `save` wrote; raises `InputError` where there is no such file."""
        from frame2d.analysis.storage import load

        return load(path)

    def save(self, path: Any) -> None:
        """Write everything to HDF5 (see `frame2d.analysis.storage`)."""
        from frame2d.analysis.storage import save

        save(self, path)

    def to_csv(self, path: Any, kind: str = "main") -> None:
        """Write a `table` as CSV with a header that bears the units; the file appears whole or not at all."""
        columns = self.table(kind)
        header = ",".join(f'"{name}"' if "," in name else name for name in columns)
        with written(path) as beside:
            np.savetxt(
                beside, np.column_stack(list(columns.values())), delimiter=",", header=header, comments="",
                encoding="utf-8",
            )  # fmt: skip
