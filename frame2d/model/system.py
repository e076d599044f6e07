"""`System`: a frame compiled to arrays, with the element tensor, the freedom map and names to find things again."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import sparse
from scipy.sparse import csc_matrix, csr_matrix

from frame2d.elements import Part, Pieces
from frame2d.engine.evaluate import evaluate
from frame2d.engine.ordering import Index, minimum_degree, symbolic
from frame2d.engine.plan import Motion, Plan, Twist, lower_columns, new_room
from frame2d.errors import InputError, known, listed
from frame2d.model import checks
from frame2d.model.frame import COMPONENTS, Frame, MemberLoad
from frame2d.model.freedoms import map_freedoms, node_freedom
from frame2d.model.member_loads import equivalent
from frame2d.model.state import State, begin_of
from frame2d.model.storeys import DriftWatch, Storeys, drift_watch, sinking, storeys


@dataclass(frozen=True)
class PartPlace:
    """Where a part of a member stands among all parts."""

    member: str
    part: Part
    number: int
    #: Slice of the part's deformations and forces.
    first: int
    last: int

    @property
    def free_size(self) -> int:
        """Entries at the start of the memory that say where the law is free of stress."""
        return 2 if self.last - self.first == 2 else 1

    def free_deformation(self, d: np.ndarray) -> np.ndarray:
        """Deformations at which a new device would be free of stress, from all parts' deformations."""
        own = d[self.first : self.last]
        if own.size <= 2:
            return own
        L, c, s, exact = self.part.parameters[:4]
        du, dv = own[2] - own[0], own[3] - own[1]
        if exact > 0.0:
            return np.array([np.hypot(L * c + du, L * s + dv) - L])
        return np.array([c * du + s * dv + 0.5 * ((c * dv - s * du) / L) ** 2 * L])


class System:
    """What analyses run. Made by `Frame.compile`; holds no state.

    `tensor` is the sparse element × freedom × freedom stack (constant stiffness, damped stiffness, mass): the whole is
    its sum over elements, a substructure the sum over a slice. Free freedoms q stand in elimination order.
    """

    def __init__(self, frame: Frame) -> None:
        if not frame.members:
            raise InputError(f"frame {frame.name!r} has no members; allowed: at least one")
        if not frame.supports:
            raise InputError(
                f"frame {frame.name!r} has no supports; allowed: at least one. It would float away"
            )
        self.frame = frame
        self.node_index = {name: number for number, name in enumerate(frame.nodes)}
        self.pieces: dict[str, Pieces] = {}
        self.freedoms_of: dict[str, np.ndarray] = {}
        count = 3 * len(frame.nodes)
        kinds = ["u", "u", "r"] * len(frame.nodes)
        for placed in frame.members.values():
            i, j = frame.nodes[placed.i], frame.nodes[placed.j]
            pieces = placed.member.pieces(i.x, i.y, j.x, j.y)
            own = [3 * self.node_index[placed.i] + k for k in range(3)]
            own += [3 * self.node_index[placed.j] + k for k in range(3)]
            own += list(range(count, count + len(pieces.inner)))
            kinds += list(pieces.inner)
            count += len(pieces.inner)
            checks.symmetric_matrices(placed.name, pieces)
            self.pieces[placed.name] = pieces
            self.freedoms_of[placed.name] = np.array(own)
        self.size = count
        self.kinds = np.array(kinds)
        self._build(frame)

    def _build(self, frame: Frame) -> None:
        touched = np.zeros(self.size, dtype=bool)
        lengths = []
        for name, pieces in self.pieces.items():
            used = np.abs(pieces.stiffness).sum(axis=0) + np.abs(pieces.mass).sum(axis=0)
            for part in pieces.parts:
                used = used + np.abs(part.transform).sum(axis=0)
            touched[self.freedoms_of[name][used > 0.0]] = True
            # A node of pins only may leave its rotation out; its displacements must be held by something.
            touched[self.freedoms_of[name][[0, 1, 3, 4]]] = True
            placed = frame.members[name]
            i, j = frame.nodes[placed.i], frame.nodes[placed.j]
            lengths.append(np.hypot(j.x - i.x, j.y - i.y))
        long = [length for length in lengths if length > 0.0]
        self.length = float(np.mean(long)) if long else 1.0
        for node, masses in frame.masses.items():
            for component, value in zip(COMPONENTS, masses, strict=True):
                if value > 0.0:
                    touched[node_freedom(self.node_index, node, component)] = True
        freedoms = map_freedoms(frame, self.size - 3 * len(frame.nodes), touched)
        free, self.supported = freedoms.free, freedoms.supported
        self.idle, self.held = freedoms.idle, freedoms.held
        tensors = {
            "stiffness": self._tensor("stiffness"),
            "damped": self._tensor("damped"),
            "mass": self._tensor("mass"),
        }
        self.tensor = tensors
        whole = {name: tensor.sum(axis=0).tocsr() for name, tensor in tensors.items()}
        node_mass = np.zeros(self.size)
        for node, masses in frame.masses.items():
            for component, value in zip(COMPONENTS, masses, strict=True):
                node_mass[node_freedom(self.node_index, node, component)] += value
        whole["mass"] = csr_matrix(whole["mass"] + csr_matrix(np.diag(node_mass)))
        self.whole = whole

        # Parts: d = gather · u, all freedoms first.
        self.parts: list[PartPlace] = []
        rows, cols, vals = [], [], []
        first = 0
        for name, pieces in self.pieces.items():
            for part in pieces.parts:
                width = part.transform.shape[0]
                self.parts.append(PartPlace(name, part, len(self.parts), first, first + width))
                a, b = np.nonzero(part.transform)
                rows += list(first + a)
                cols += list(self.freedoms_of[name][b])
                vals += list(part.transform[a, b])
                first += width
        self.gather_all = csr_matrix((vals, (rows, cols)), shape=(first, self.size))
        pattern = self._pattern(free)
        position = minimum_degree(*pattern, free.shape[1])
        order = np.empty_like(position)
        order[position] = np.arange(position.size)
        self.free = csr_matrix(free[:, order])
        self.leads = freedoms.leads[order]
        self.count = self.free.shape[1]
        self.lead_kinds = self.kinds[self.leads]
        self.stiffness = self.reduce(whole["stiffness"])
        self.mass = self.reduce(whole["mass"])
        self.damped = self.reduce(whole["damped"])
        self.plan = self._plan(csr_matrix((self.count, self.count)))
        diagonal = np.asarray(self.tangent().diagonal()) * self.plan.scale**2
        #: Force that rounding leaves in members whose nodes stand a member's length apart, N.
        self._made: dict[Any, Any] = {}
        self.rounding = 2e-16 * float(diagonal.max(initial=0.0)) * self.length
        checks.symmetric_tangents(self)
        self._check_stands()

    def _check_stands(self) -> None:
        """Raise `InputError` for a mechanism; a part of a divided frame may float and overrides this."""
        checks.stands(self)

    def _tensor(self, kind: str) -> sparse.COO:
        coords: list[list[int]] = [[], [], []]
        data: list[float] = []
        for number, (name, pieces) in enumerate(self.pieces.items()):
            matrix = getattr(pieces, kind)
            a, b = np.nonzero(matrix)
            own = self.freedoms_of[name]
            coords[0] += [number] * a.size
            coords[1] += own[a].tolist()
            coords[2] += own[b].tolist()
            data += matrix[a, b].tolist()
        shape = (len(self.pieces), self.size, self.size)
        return sparse.COO(np.array(coords, dtype=np.int64).reshape(3, -1), np.array(data), shape=shape)

    def reduce(self, matrix: Any) -> csc_matrix:
        """Matrix of all freedoms → matrix of the free ones, TᵀAT."""
        return csc_matrix(self.free.T @ matrix @ self.free)

    def _pattern(self, free: csr_matrix) -> tuple[np.ndarray, np.ndarray]:
        pattern = (
            abs(free).T
            @ (abs(self.whole["stiffness"]) + abs(self.whole["mass"]) + abs(self.whole["damped"]))
            @ abs(free)
        )
        gather = abs(self.gather_all) @ abs(free)
        blocks = [pattern.tocoo()]
        for place in self.parts:
            rows = gather[place.first : place.last]
            columns = np.unique(rows.indices)
            grid = np.meshgrid(columns, columns, indexing="ij")
            blocks.append((grid[0].ravel(), grid[1].ravel()))
        rows_list = [blocks[0].row] + [block[0] for block in blocks[1:]]
        cols_list = [blocks[0].col] + [block[1] for block in blocks[1:]]
        return np.concatenate(rows_list), np.concatenate(cols_list)

    def _plan(self, damping: Any) -> Plan:
        n = self.count
        gather = csr_matrix(self.gather_all @ self.free)
        gather.sum_duplicates()
        rows, cols = self._pattern(self.free)
        extra = csr_matrix(damping).tocoo()
        diagonal = np.arange(n)
        rows = np.concatenate([rows, extra.row, diagonal])
        cols = np.concatenate([cols, extra.col, diagonal])
        lower = rows >= cols
        keys = np.unique(cols[lower].astype(np.int64) * n + rows[lower])
        a_col, a_row = keys // n, keys % n
        a_start = np.searchsorted(a_col, np.arange(n + 1))
        pattern = symbolic(a_row, a_col, n)
        a_place = pattern.places(a_row, a_col)

        def on_pattern(matrix: Any) -> np.ndarray:
            if not n:
                return np.zeros(0)
            return np.asarray(csr_matrix(matrix)[a_row, a_col]).ravel()

        # Tangent stamps: K += Gᵀ k G, lower triangle only.
        places, entries, weights = [], [], []
        turned: list[tuple[int, int, int, int, float]] = []
        k_at, p_at, m_at = [], [], []
        parameters, memory = [np.zeros(0)], [np.zeros(0)]
        p_first = m_first = k_first = 0
        for place in self.parts:
            width = place.last - place.first
            local = gather[place.first : place.last]
            for a in range(width):
                for i, ti in zip(*_row(local, a), strict=True):
                    for b in range(width):
                        for j, tj in zip(*_row(local, b), strict=True):
                            if i >= j:
                                places.append((i, j))
                                entries.append(k_first + a * width + b)
                                weights.append(ti * tj)
                            elif not place.part.symmetric:
                                here, mirror = k_first + a * width + b, k_first + b * width + a
                                turned.append((i, j, here, mirror, ti * tj))
            k_at.append(k_first)
            p_at.append(p_first)
            m_at.append(m_first)
            k_first += width * width
            p_first += place.part.parameters.size
            m_first += place.part.memory.size
            parameters.append(place.part.parameters)
            memory.append(place.part.memory)
        pairs = np.array(places, dtype=np.int64).reshape(-1, 2)
        t_place = pattern.places(pairs[:, 0], pairs[:, 1])
        by_entry = np.argsort(np.array(entries, dtype=np.int64), kind="stable")
        transposed = csr_matrix(gather.T)
        self.memory = np.concatenate([*memory, np.zeros(1)])
        self.memory_at = np.array(m_at, dtype=np.int64)
        scale = np.where(self.lead_kinds == "r", 1.0 / self.length, 1.0)
        inertial = (np.asarray(abs(self.mass).sum(axis=0)).ravel() > 0.0).astype(float)
        index = Index
        twist = Twist(
            row=np.array([entry[0] for entry in turned], dtype=np.int64),
            column=np.array([entry[1] for entry in turned], dtype=np.int64),
            first=np.array([entry[2] for entry in turned], dtype=np.int64),
            second=np.array([entry[3] for entry in turned], dtype=np.int64),
            weight=np.array([entry[4] for entry in turned], dtype=float),
        )
        plan = Plan(
            *pattern,
            a_start.astype(index),
            a_row.astype(index),
            a_place.astype(index),
            on_pattern(self.stiffness),
            on_pattern(self.mass),
            on_pattern(damping),
            np.array([place.part.kernel.address for place in self.parts], dtype=np.int64),
            np.array(p_at, dtype=np.int64),
            np.array(m_at, dtype=np.int64),
            np.array([place.first for place in self.parts], dtype=np.int64),
            np.array(k_at, dtype=np.int64),
            np.array([place.last - place.first for place in self.parts], dtype=np.int64),
            np.concatenate([*parameters, np.zeros(1)]),
            gather.indptr.astype(index),
            gather.indices.astype(index),
            gather.data.astype(float),
            transposed.indptr.astype(index),
            transposed.indices.astype(index),
            transposed.data.astype(float),
            t_place[by_entry].astype(index),
            np.array(entries, dtype=np.int64)[by_entry].astype(index),
            np.array(weights, dtype=float)[by_entry],
            np.zeros(pattern.row.size),
            scale,
            inertial,
            *lower_columns(self.stiffness),
            *lower_columns(self.mass),
            *lower_columns(csr_matrix(damping)),
            twist,
        )
        self.imposed_parts = np.asarray((self.gather_all @ self.supported).todense())
        return plan._replace(virgin=self._virgin(plan))

    def _virgin(self, plan: Plan) -> np.ndarray:
        """Tangent of the parts at rest, in the factor's pattern."""
        room = new_room(plan)
        zero = np.zeros(self.count)
        failed = evaluate(plan, room, zero, zero, room.shift, self.memory, self.memory.copy(), 0.0, 0.0)
        if failed >= 0:
            place = self.parts[failed]
            raise InputError(f"member {place.member!r}: its {place.part.role} has no answer at rest")
        values = np.zeros(plan.row.size)
        np.add.at(values, plan.t_place, plan.t_weight * room.ke[plan.t_entry])
        return values

    @property
    def symmetric(self) -> bool:
        """Whether every part says that its tangent is symmetric."""
        return all(place.part.symmetric for place in self.parts)

    @cached_property
    def rough_period(self) -> float:
        """About the first period (s); raises `InputError` for one that smells of wrong units."""
        return checks.period(self)

    def need_symmetry(self, what: str) -> None:
        """Raise `InputError` where `what` needs a symmetric tangent and a member has none."""
        for place in self.parts:
            if not place.part.symmetric:
                raise InputError(
                    f"member {place.member!r} has an unsymmetric tangent; allowed for {what}: symmetric members. "
                    "Statics, push and time_history with generalized-alpha or first-order schemes take it"
                )

    def with_damping(self, damping: Any) -> Plan:
        """Plan whose constant damping matrix (free freedoms) is `damping`."""
        coo = csr_matrix(damping).tocoo()
        lower = coo.row >= coo.col
        n = self.count
        a_col = np.repeat(np.arange(n), (self.plan.a_start[1:] - self.plan.a_start[:-1]).astype(np.int64))
        known_keys = a_col * n + self.plan.a_row
        if not np.all(np.isin(coo.col[lower].astype(np.int64) * n + coo.row[lower], known_keys)):
            return self._plan(damping)
        start, row, values = lower_columns(csr_matrix(damping))
        return self.plan._replace(
            damping=np.asarray(csr_matrix(damping)[self.plan.a_row, a_col]).ravel(),
            c_start=start,
            c_row=row,
            c_val=values,
        )

    def tangent(self, state: State | None = None, parts: bool = True) -> csc_matrix:
        """Tangent stiffness of the free freedoms, at rest or at a state."""
        plan = self.plan
        values = np.zeros(plan.row.size)
        values[plan.a_place] += plan.stiffness
        room = new_room(plan)
        if parts:
            begin = begin_of(self, state)
            motion = begin.copy_motion()
            room.shift[: self.imposed_parts.shape[0]] = self.imposed_parts @ begin.supports
            evaluate(plan, room, motion.q, np.zeros(self.count), room.shift, motion.m0, motion.m1, 0.0, 0.0)
            np.add.at(values, plan.t_place, plan.t_weight * room.ke[plan.t_entry])
        columns = np.repeat(
            np.arange(self.count), (self.plan.start[1:] - self.plan.start[:-1]).astype(np.int64)
        )
        lower = csc_matrix(
            (values, (self.plan.row.astype(np.int64), columns)), shape=(self.count, self.count)
        )
        diagonal = csc_matrix((lower.diagonal(), (range(self.count), range(self.count))), shape=lower.shape)
        whole = lower + lower.T - diagonal
        twist = plan.twist
        if twist.weight.size:
            above = twist.weight * (room.ke[twist.first] - room.ke[twist.second])
            whole = whole + csc_matrix((above, (twist.row, twist.column)), shape=lower.shape)
        return csc_matrix(whole)

    def internal_force(self, q: np.ndarray, state: State | None = None) -> np.ndarray:
        """Internal force on the free freedoms (N, N·m) at displacements `q`, loaded from a state in one step."""
        begin, room = begin_of(self, state), new_room(self.plan)
        room.shift[: self.imposed_parts.shape[0]] = self.imposed_parts @ begin.supports
        motion = begin.copy_motion()
        failed = evaluate(
            self.plan, room, q, np.zeros(self.count), room.shift, motion.m0, motion.m1, 0.0, 0.0
        )
        if failed >= 0:
            place = self.parts[failed]
            raise InputError(
                f"member {place.member!r}: its {place.part.role} has no answer at these displacements"
            )
        forces = np.asarray((self.gather_all @ self.free).T @ room.fe[: self.gather_all.shape[0]]).ravel()
        return np.asarray(self.stiffness @ q).ravel() + forces

    def freedom_label(self, freedom: int) -> str:
        """Name of one of all freedoms."""
        if freedom < 3 * len(self.frame.nodes):
            return f"{COMPONENTS[freedom % 3]} of node {list(self.node_index)[freedom // 3]!r}"
        for name, own in self.freedoms_of.items():
            if freedom in own[6:]:
                return f"inner freedom of member {name!r}"
        raise AssertionError(freedom)

    def row(self, node: str, component: str) -> np.ndarray:
        """Row that picks a node's displacement component out of the free freedoms."""
        known("node", node, self.node_index)
        known("component", component, COMPONENTS)
        return np.asarray(self.free[node_freedom(self.node_index, node, component)].todense()).ravel()

    def free_number(self, node: str, component: str) -> int:
        """Number of a node's displacement among the free freedoms; raises `InputError` if it is held or follows."""
        known("node", node, self.node_index)
        found = np.flatnonzero(self.leads == node_freedom(self.node_index, node, component))
        if found.size == 0:
            raise InputError(
                f"{component} of node {node!r} is not free: it is held, idle, or follows another node"
            )
        return int(found[0])

    def support_number(self, node: str, component: str) -> int:
        """Number of a supported freedom; raises `InputError` where nothing is supported."""
        known("node", node, self.node_index)
        known("component", component, COMPONENTS)
        found = np.flatnonzero(self.held == node_freedom(self.node_index, node, component))
        if found.size == 0:
            raise InputError(
                f"{component} of node {node!r} is not supported and cannot be moved as a support"
            )
        return int(found[0])

    def support_coupling(self) -> np.ndarray:
        """Force of linear members on the free freedoms by unit support displacements."""
        return self._once(
            "coupling",
            lambda: _kept(np.asarray((self.free.T @ self.whole["stiffness"] @ self.supported).todense())),
        )

    def support_mass(self) -> np.ndarray:
        """Inertia that unit support accelerations draw from masses that move with them directly."""
        return np.asarray((self.free.T @ self.whole["mass"] @ self.supported).todense())

    def gather_rows(self, place: PartPlace) -> np.ndarray:
        """Deformations of a part from the free freedoms, dense."""
        return np.asarray((self.gather_all[place.first : place.last] @ self.free).todense())

    def force_scale(self, load: np.ndarray) -> float:
        """Largest scaled force of a load: the reference of the residual."""
        largest = float(np.max(np.abs(load) * self.plan.scale, initial=0.0))
        return largest if largest > 0.0 else 1.0

    def storeys(self, mean: bool = True) -> Storeys:
        """Storey drift ratios as linear forms: see `frame2d.model.storeys`."""
        return self._once(("storeys", mean), lambda: storeys(self, mean))

    def sinking(self, load: np.ndarray) -> Storeys:
        """Sinking ratios of the nodes that bear `load`: see `frame2d.model.storeys`."""
        found: Storeys | None
        key, found = self._made.get("sinking", (b"", None))
        if found is None or key != load.tobytes():
            found = sinking(self, load)
            self._made["sinking"] = load.tobytes(), found  # the last alone: loads are many
        return found

    def _once(self, key: Any, make: Callable[[], Any]) -> Any:
        """What `make` gives, made once: a system is never changed."""
        if key not in self._made:
            self._made[key] = make()
        return self._made[key]

    def drift_watch(self, limit: float, mean: bool = True) -> DriftWatch:
        """Watch on the storey drift ratios for the ratio `limit`: as `Response.drifts` has them, or of first nodes."""
        return drift_watch(self, limit, mean)

    def load_vector(self, case: str) -> np.ndarray:
        """Load of one case on the free freedoms (N, N·m); member loads exact at the nodes."""
        return np.asarray(self.free.T @ self.load_all(case)).ravel()

    def load_all(self, case: str) -> np.ndarray:
        """Load of one case on all freedoms."""
        cases = {load.case for load in self.frame.node_loads} | {
            load.case for load in self.frame.member_loads
        }
        known("load case", case, sorted(cases))
        load = np.zeros(self.size)
        for entry in self.frame.node_loads:
            if entry.case == case:
                base = 3 * self.node_index[entry.node]
                load[base : base + 3] += (entry.fx, entry.fy, entry.mz)
        for member_load in self.frame.member_loads:
            if member_load.case == case:
                load[self.freedoms_of[member_load.member]] += self.equivalent(member_load)
        if self.idle.size and np.any(load[self.idle] != 0.0):
            freedom = self.idle[np.flatnonzero(load[self.idle])[0]]
            raise InputError(f"a load acts on {self.freedom_label(freedom)}, which no member holds")
        return load

    def equivalent(self, load: MemberLoad) -> np.ndarray:
        """Forces on a member's freedoms that do the work of a load along it (see `frame2d.model.member_loads`)."""
        return equivalent(self.frame, self.pieces[load.member], load)

    def influence(self, direction: tuple[float, float] = (1.0, 0.0)) -> np.ndarray:
        """M·ι on the free freedoms: inertia of a unit ground acceleration."""
        return self._once(("influence", *direction), lambda: _kept(self._influence(direction)))

    def _influence(self, direction: tuple[float, float]) -> np.ndarray:
        iota = np.zeros(self.size)
        iota[0 : 3 * len(self.node_index) : 3] = direction[0]
        iota[1 : 3 * len(self.node_index) : 3] = direction[1]
        for name, own in self.freedoms_of.items():
            pieces = self.pieces[name]
            for k, share in enumerate(pieces.translation):
                iota[own[6 + k]] = share[0] * direction[0] + share[1] * direction[1]
        return np.asarray(self.free.T @ (self.whole["mass"] @ iota)).ravel()

    def rest(self) -> State:
        """State of the virgin frame, without loads."""
        n, parts, width = self.count, len(self.parts), self.gather_all.shape[0]
        motion = Motion(
            np.zeros(n),
            np.zeros(n),
            np.zeros(n),
            np.zeros(n),
            np.zeros(n),
            self.memory.copy(),
            self.memory.copy(),
            np.zeros(width + 1),
            np.zeros(width + 1),
            np.zeros(parts + 1),
            np.zeros(parts + 1),
            np.zeros(4),
        )
        return State(motion, 0.0, np.zeros(n), np.zeros(self.held.size))

    def replace_devices(self, state: State, names: list[str]) -> State:
        """New, virgin devices in place of the named ones, free of stress at the deformed geometry.

        The energy that the old ones could have returned is booked as released. The new state is out of balance by the
        forces that were locked in: run a static analysis from it before the next earthquake.
        """
        state = begin_of(self, state)
        motion = state.copy_motion()
        released = 0.0
        names = listed("devices to replace", names)
        for name in names:
            known("device", name, self.frame.devices())
            for place in self.parts:
                if place.member != name or place.part.law is None:
                    continue
                first = self.memory_at[place.number]
                size = place.part.memory.size
                motion.m0[first : first + size] = place.part.memory
                motion.m0[first : first + place.free_size] = place.free_deformation(motion.d0)
                motion.m1[first : first + size] = motion.m0[first : first + size]
                released += float(motion.stored[place.number])
                force = np.zeros(self.gather_all.shape[0])
                force[place.first : place.last] = motion.f0[place.first : place.last]
                motion.f[:] -= np.asarray((self.gather_all @ self.free).T @ force).ravel()
                motion.f0[place.first : place.last] = 0.0
                motion.stored[place.number] = 0.0
        return replace(
            state, motion=motion, released=state.released + released, replaced=(*state.replaced, *names)
        )


def _kept(values: np.ndarray) -> np.ndarray:
    """`values`, which nobody may write from now on."""
    values.flags.writeable = False
    return values


def _row(matrix: csr_matrix, a: int) -> tuple[np.ndarray, np.ndarray]:
    return matrix.indices[matrix.indptr[a] : matrix.indptr[a + 1]], matrix.data[
        matrix.indptr[a] : matrix.indptr[a + 1]
    ]
