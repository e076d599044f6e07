"""What the explicit, splitting and state-space schemes prepare for a frame and a step: `Marcher`."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.linalg import eigh
from scipy.sparse import csc_matrix, csr_matrix
from scipy.sparse.linalg import splu

from frame2d.analysis.schemes import (
    CentralDifference,
    Chang,
    FirstOrderAlpha,
    KolayRicles,
    Matrices,
    OperatorSplitting,
    Scheme,
)
from frame2d.elements.rate_spring import rate_part, rate_spring
from frame2d.elements.spring import spring
from frame2d.engine.evaluate import evaluate
from frame2d.engine.explicit import EXPLICIT, SPLITTING, STATE_SPACE, Operator
from frame2d.engine.implicit import COLLAPSED, after_piece
from frame2d.engine.march import entered, march, step_on
from frame2d.engine.newton import CONVERGED, NOT_CONVERGED
from frame2d.engine.plan import STEPS, new_room
from frame2d.errors import InputError
from frame2d.materials import BoucWenStiffened
from frame2d.model.state import begin_of

if TYPE_CHECKING:
    from frame2d.engine.plan import Motion, Plan
    from frame2d.model.system import System


class Virgin:
    """Frame with every part at its largest known stiffness, and what remains of it on the freedoms with mass.

    A part counts with its tangent at rest, or with `Law.stiffness` where that is larger (gaps, pinched loops).
    Stiffening beyond it is not known beforehand: members that stiffen in tension by their geometry, laws that harden.
    """

    def __init__(self, system: "System") -> None:
        plan = system.plan
        room = new_room(plan)
        zero = np.zeros(system.count)
        evaluate(plan, room, zero, zero, room.shift, system.memory, system.memory.copy(), 0.0, 0.0)
        self.system = system
        self.ke = room.ke.copy()
        for place in system.parts:
            if place.part.law is not None and place.last - place.first == 1:
                entry = plan.k_at[place.number]
                self.ke[entry] = max(self.ke[entry], place.part.law.stiffness)
        self.values = np.zeros(plan.row.size)
        np.add.at(self.values, plan.t_place, plan.t_weight * self.ke[plan.t_entry])
        self.massive = np.flatnonzero(plan.inertial > 0.0)
        self.massless = np.flatnonzero(plan.inertial == 0.0)

    @cached_property
    def whole(self) -> csc_matrix:
        """Stiffness of all free freedoms."""
        plan, n = self.system.plan, self.system.count
        columns = np.repeat(np.arange(n), (plan.start[1:] - plan.start[:-1]).astype(np.int64))
        rows = plan.row.astype(np.int64)
        lower = csc_matrix((self.values, (rows, columns)), shape=(n, n))
        below = rows > columns
        upper = csc_matrix((self.values[below], (columns[below], rows[below])), shape=(n, n))
        return csc_matrix(self.system.stiffness + lower + upper)

    @cached_property
    def follow(self) -> np.ndarray:
        """Displacements of the massless freedoms by unit ones of the massive, in static equilibrium."""
        if self.massless.size == 0:
            return np.zeros((0, self.massive.size))
        side = self.whole[self.massless]
        return np.asarray(-splu(side[:, self.massless].tocsc()).solve(side[:, self.massive].toarray()))

    def condense(self, matrix: Any) -> np.ndarray:
        """Matrix on the freedoms with mass, the others following statically."""
        full = csr_matrix(matrix)
        mm = full[self.massive][:, self.massive].toarray()
        ms = full[self.massive][:, self.massless] @ self.follow
        ss = self.follow.T @ (full[self.massless][:, self.massless] @ self.follow)
        return np.asarray(mm + ms + ms.T + ss)

    def spread(self, matrix: np.ndarray) -> csc_matrix:
        """Matrix on the freedoms with mass as one of all free freedoms."""
        rows, cols = np.meshgrid(self.massive, self.massive, indexing="ij")
        size = (self.system.count, self.system.count)
        return csc_matrix((matrix.ravel(), (rows.ravel(), cols.ravel())), shape=size)


def stable_step(system: "System", damping: Any = None, lagged: bool = False) -> float:
    """Largest stable step of central difference (s), 2/ω_max of the virgin frame condensed to its masses.

    With `lagged` damping (a matrix on the free freedoms) the step at which 4M − 2Δt·C − Δt²·K stays positive.
    """
    begin_of(system, None)
    virgin = Virgin(system)
    mass = system.mass[virgin.massive][:, virgin.massive].toarray()
    stiffness = virgin.condense(virgin.whole)
    top = len(mass) - 1
    highest = eigh(stiffness, mass, eigvals_only=True, subset_by_index=[top, top])
    limit = CentralDifference().limit(float(np.sqrt(highest[0])))
    if not lagged or damping is None:
        return limit
    # Bound of the lagged scheme: z = −1 of z²M + z(Δt²K + Δt·C − 2M) + M − Δt·C (Hughes 1987, ch. 9, for one freedom).
    viscous = virgin.condense(damping)
    low, high = 0.0, limit
    while high - low > 1e-12 * limit:
        dt = 0.5 * (low + high)
        margin = eigh(
            4.0 * mass - 2.0 * dt * viscous - dt * dt * stiffness, mass, eigvals_only=True,
            subset_by_index=[0, 0],
        )  # fmt: skip
        low, high = (dt, high) if margin[0] > 0.0 else (low, dt)
    return low


class RateForms:
    """Plan in which every spring whose law has a rate form is integrated by it, and the way to and from its memory.

    `BoucWenStiffened` is left as it is: its rate switches at limits that move with the state, where the equations of a
    step have no smooth solution.
    """

    def __init__(self, system: "System", plan: "Plan", scheme: FirstOrderAlpha) -> None:
        self.system = system
        self.parts: list[Any] = []
        address, p_at, m_at = plan.address.copy(), plan.p_at.copy(), plan.m_at.copy()
        parameters, first = [plan.parameters], plan.parameters.size
        self.virgin, self.offset = [system.memory], system.memory.size
        for place in system.parts:
            law = place.part.law
            if law is None or law.rate is None or place.part.kernel is not spring:
                continue
            if isinstance(law, BoucWenStiffened):
                continue
            own, memory = rate_part(place.part, scheme.alpha_m, scheme.alpha_f, scheme.gamma)
            address[place.number] = rate_spring.address
            p_at[place.number], m_at[place.number] = first, self.offset
            parameters.append(own)
            self.virgin.append(memory)
            first += own.size
            self.offset += memory.size
            self.parts.append(place)
        self.plan = plan._replace(
            address=address, p_at=p_at, m_at=m_at, parameters=np.concatenate(parameters)
        )

    def enter(self, motion: "Motion") -> "Motion":
        """Motion with the memories of the rate forms behind the usual ones."""
        m0 = np.concatenate([motion.m0, *self.virgin[1:]])
        speed = self.system.gather_all @ (self.system.free @ motion.v)
        for place in self.parts:
            law, size = place.part.law, place.part.memory.size
            here, usual = self.plan.m_at[place.number], self.system.memory_at[place.number]
            memory = m0[here : here + size + law.states + 2]
            memory[:size] = motion.m0[usual : usual + size]
            u, v = motion.d0[place.first] - memory[0], float(speed[place.first])
            law.rate(
                law.parameters(), memory[1 : 1 + law.states], u, v, 0.0, np.zeros(12),
                memory[size : size + law.states],
            )  # fmt: skip
            memory[-2:] = u, v
        return motion._replace(m0=m0, m1=m0.copy())

    def leave(self, motion: "Motion") -> "Motion":
        """Motion with the usual memories."""
        usual = []
        for table in (motion.m0, motion.m1):
            memory = table[: self.system.memory.size].copy()
            for place in self.parts:
                size = place.part.memory.size
                here, there = self.plan.m_at[place.number], self.system.memory_at[place.number]
                memory[there : there + size] = table[here : here + size]
            usual.append(memory)
        return motion._replace(m0=usual[0], m1=usual[1])


@dataclass
class Marcher:
    """A scheme ready to step one frame: `step` once, or `run` a block; both are the same compiled step.

    A step that fails is halved. An explicit scheme needs the matrices of the shorter step for it: `shorter` makes them,
    when they are first asked for.
    """

    plan: "Plan"
    held: "Plan"
    operator: Operator
    #: Damping that the scheme takes into account, on the free freedoms.
    damping: Any
    rates: RateForms | None = None
    #: Operator of an explicit scheme for a step of so many s; None where one operator serves all lengths.
    shorter: Callable[[float], Operator] | None = None

    def __post_init__(self) -> None:
        self._of_pieces: dict[float, Operator] = {}

    def begin(self, motion: "Motion") -> "Motion":
        """Motion to step from: at the velocity it has, with no earlier step, with the memories of this scheme."""
        motion.dq[:] = 0.0
        self.operator.carry[:] = motion.v
        return motion if self.rates is None else self.rates.enter(motion)

    def end(self, motion: "Motion") -> "Motion":
        """Motion with the usual memories, for a `State`."""
        return motion if self.rates is None else self.rates.leave(motion)

    def step(
        self, room: Any, motion: "Motion", p0: np.ndarray, p1: np.ndarray, shift0: np.ndarray, shift1: np.ndarray,
        dt: float, scheme: np.ndarray, options: np.ndarray,
    ) -> int:  # fmt: skip
        """One step from loads `p0` to `p1`; the status of `frame2d.engine.newton`."""
        plan = self.plan if self.rates is None else self.rates.plan
        room.counts[STEPS] += 1
        status = step_on(
            plan, self.held, room, motion, self.operator, p0, p1, shift0, shift1, dt, scheme, options
        )
        if status != CONVERGED and self.shorter is not None:
            status = self._in_pieces(room, motion, p0, p1, shift0, shift1, dt, scheme, options)
        return int(status)

    def run(self, plan: "Plan", room: Any, motion: "Motion", *rest: Any) -> tuple[int, int]:
        """Block of steps with the arguments of `frame2d.engine.implicit.run`; `plan` is the marcher's own."""
        own = plan if self.rates is None else self.rates.plan
        *inputs, dt, first, last, scheme, options, watch, limits, log = rest
        while True:
            row, status = march(
                own, self.held, room, motion, self.operator, *inputs, dt, first, last, scheme, options, watch, limits,
                log,
            )  # fmt: skip
            if status in (CONVERGED, COLLAPSED) or self.shorter is None:
                return int(row), int(status)
            status = self._in_pieces(
                room, motion, room.load0, room.load1, room.shift0, room.shift1, dt, scheme, options
            )
            if status != CONVERGED:
                return int(row), int(status)
            first = int(row) + 1
            if entered(room, motion, watch, limits, log, row) != CONVERGED:
                return first, COLLAPSED
            if first == last:
                return last, CONVERGED

    def _in_pieces(
        self, room: Any, motion: "Motion", p0: np.ndarray, p1: np.ndarray, shift0: np.ndarray, shift1: np.ndarray,
        dt: float, scheme: np.ndarray, options: np.ndarray,
    ) -> int:  # fmt: skip
        """The explicit step that failed, by its halves, their halves and so on; `motion` is kept where all fail."""
        assert self.shorter is not None
        deepest = int(options[2])
        whole, done, level, before = 1 << deepest, 0, 0, dt
        kept = [array.copy() for array in motion]
        status = NOT_CONVERGED  # that of the whole step
        while status == CONVERGED or level < deepest:
            done, level = after_piece(room, status, done, whole >> level, level)
            if done == whole:
                motion.dq[:] *= dt / before
                return CONVERGED
            piece = whole >> level
            length = dt * piece / whole
            if length not in self._of_pieces:
                self._of_pieces[length] = self.shorter(length)
            shares = done / whole, (done + piece) / whole
            loads = [(1.0 - share) * p0 + share * p1 for share in shares]
            shifts = [(1.0 - share) * shift0 + share * shift1 for share in shares]
            # The last increment stands for a rate: with it massless freedoms set out, and from it their velocity comes.
            motion.dq[:] *= length / before
            before = length
            status = step_on(
                self.plan,
                self.held,
                room,
                motion,
                self._of_pieces[length],
                *loads,
                *shifts,
                length,
                scheme,
                options,
            )
        for array, old in zip(motion, kept, strict=True):
            array[:] = old
        return int(status)


def marcher(scheme: Scheme, system: "System", damping: Any, dt: float) -> Marcher:
    """Prepare `scheme` for `system`, damped by a matrix on the free freedoms, at steps of `dt` s.

    Explicit schemes condense the damping to the freedoms with mass, along the static shape of the virgin frame.
    Raises `InputError` for central difference above its limit.
    """
    if not isinstance(scheme, FirstOrderAlpha):
        system.need_symmetry(getattr(scheme, "name", "this scheme"))
    virgin = Virgin(system)
    n, small = system.count, np.zeros((0, 0))
    if isinstance(scheme, CentralDifference | Chang | KolayRicles):
        mass = system.mass[virgin.massive][:, virgin.massive].toarray()
        viscous = virgin.condense(damping)
        if isinstance(scheme, CentralDifference):
            limit = stable_step(system, damping, scheme.lagged)
            if dt > limit:
                raise InputError(
                    f"dt is {dt:g} s; allowed: at most {limit:.4g} s, the stability limit of central difference "
                    "for this frame. Likely mistake: a light mass on a stiff member; kolay_ricles has no such limit"
                )
        stiffness = virgin.condense(virgin.whole)

        def of_step(length: float) -> Operator:
            made = scheme.matrices(mass, viscous, stiffness, length)
            return _operator(EXPLICIT, virgin, n, made, mass, viscous, length)

        return Marcher(system.plan, _held(virgin), of_step(dt), virgin.spread(viscous), shorter=of_step)
    plan = system.with_damping(damping)
    made = Matrices(*(small,) * 7, 0.0)
    if isinstance(scheme, OperatorSplitting):
        if plan.row.size != system.plan.row.size:
            values = np.zeros(plan.row.size)
            np.add.at(values, plan.t_place, plan.t_weight * virgin.ke[plan.t_entry])
        else:
            values = virgin.values
        plan = plan._replace(virgin=values)
        return Marcher(plan, plan, _operator(SPLITTING, virgin, n, made, small, small, dt), damping)
    if isinstance(scheme, FirstOrderAlpha):
        rates = RateForms(system, plan, scheme)
        return Marcher(plan, plan, _operator(STATE_SPACE, virgin, n, made, small, small, dt), damping, rates)
    raise InputError(
        f"scheme is {scheme!r}; allowed: one of frame2d.analysis.schemes. Likely mistake: a class instead of a value"
    )


def _operator(
    kind: int, virgin: Virgin, n: int, made: Matrices, mass: np.ndarray, damping: np.ndarray, dt: float
) -> Operator:
    a1 = made.m1 + (1.0 - made.alpha_f) * dt * damping @ (made.g1 - made.lag)
    ready = np.ascontiguousarray
    return Operator(
        kind=kind,
        massive=virgin.massive,
        b1=ready(made.b1),
        b2=ready(made.b2),
        g0=ready(made.g0),
        g1=ready(made.g1),
        lag=ready(made.lag),
        a1_inverse=ready(np.linalg.inv(a1)),
        inertia1=ready(made.m1),
        inertia0=ready(made.m0),
        mass=ready(mass),
        damping=ready(damping),
        ke=virgin.ke,
        carry=np.zeros(n),
        work=np.zeros((10, virgin.massive.size)),
        still=np.zeros(5),
    )


def _held(virgin: Virgin) -> "Plan":
    """Plan of the massless freedoms alone: what acts on massive ones is cut off, and their own rows are 1·q = g."""
    plan = virgin.system.plan
    n = virgin.system.count
    free = plan.inertial == 0.0
    columns = np.repeat(np.arange(n), (plan.a_start[1:] - plan.a_start[:-1]).astype(np.int64))
    rows = plan.a_row.astype(np.int64)
    stiffness = np.where(free[rows] & free[columns], plan.stiffness, 0.0)
    stiffness[(rows == columns) & ~free[rows]] = 1.0
    pattern_columns = np.repeat(np.arange(n), (plan.start[1:] - plan.start[:-1]).astype(np.int64))
    inside = free[plan.row.astype(np.int64)] & free[pattern_columns]
    return plan._replace(
        stiffness=stiffness,
        s_val=plan.s_val * np.repeat(free, (plan.s_start[1:] - plan.s_start[:-1]).astype(np.int64)),
        t_weight=plan.t_weight * inside[plan.t_place],
        virgin=virgin.values * inside,
    )


__all__ = ["Marcher", "Virgin", "marcher", "stable_step"]
