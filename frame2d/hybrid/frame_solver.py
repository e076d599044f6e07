"""Computed part given by a frame: steps a `System` with all its nonlinearity against a measured force.

One compiled call finds the next displacement of the interface, one takes the force that was measured there; both are
`frame2d.engine.measured_step`, factored once. Everything counts from the starting `State`: its load holds the tested
part's force at the start, the run adds what the reading changes. Displacements are absolute in the response, and
relative to the start in what is commanded.
"""

from collections.abc import Mapping, Sequence
from copy import copy
from hashlib import sha256
from typing import Any, NamedTuple

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.linalg import splu

from frame2d.analysis import schemes as whole_schemes
from frame2d.analysis.history import resampled
from frame2d.analysis.operators import Virgin, _held, _operator
from frame2d.analysis.outcome import Outcome as Ending
from frame2d.analysis.response import Response, new_log
from frame2d.analysis.runner import Options, finish
from frame2d.analysis.schemes import Matrices
from frame2d.bundle import bundle, handle
from frame2d.engine.evaluate import symmetric_product
from frame2d.engine.explicit import EXPLICIT, SPLITTING
from frame2d.engine.implicit import record
from frame2d.engine.measured_step import Link, correct, load_of, predict
from frame2d.engine.newton import CONVERGED
from frame2d.engine.plan import Plan, lower_columns, new_room
from frame2d.errors import Frame2dError, InputError, positive, within
from frame2d.hybrid.chang import Chang
from frame2d.hybrid.computed import Declared, Energies
from frame2d.hybrid.kr_alpha import KRAlpha
from frame2d.hybrid.linearly_implicit import LinearlyImplicit
from frame2d.hybrid.margin import Margin, loop_margin
from frame2d.hybrid.operator_splitting import OperatorSplitting
from frame2d.hybrid.part_state import at_rest
from frame2d.hybrid.scheme import Stepper, check_operator, square
from frame2d.hybrid.specimen import Reading
from frame2d.kernels import uncounted
from frame2d.model.state import State
from frame2d.model.system import System
from frame2d.substructure import Split

#: Entries of the tally: work of the ground, largest strain energy, strain energy at the start.
WORK, STRAIN, FIRST = range(3)


@bundle
class Desk(NamedTuple):
    """Everything that a step reads and writes, handed to compiled code in one piece."""

    plan: Any
    held: Any
    room: Any
    motion: Any
    operator: Any
    link: Any
    base: np.ndarray
    influence: np.ndarray
    ground: np.ndarray
    p1: np.ndarray
    scheme: np.ndarray
    options: np.ndarray
    tally: np.ndarray
    log: Any
    measured: np.ndarray


@uncounted
def ahead(desk, step, dt):  # type: ignore[no-untyped-def]
    """Target of the step after `step` into `link.target`; returns a status."""
    load_of(desk.base, desk.influence, desk.ground[step + 1], desk.p1)
    return predict(
        desk.plan, desk.held, desk.room, desk.motion, desk.operator, desk.link, desk.p1, dt, desk.scheme, desk.options[0],
        int(desk.options[1]),
    )  # fmt: skip


@uncounted
def behind(desk, step, force, dt, keep):  # type: ignore[no-untyped-def]
    """Commit the step after `step` with the measured `force`; energies, and a row of the log if `keep`."""
    plan, room, motion, link = desk.plan, desk.room, desk.motion, desk.link
    ground, influence, tally = desk.ground, desk.influence, desk.tally
    correct(plan, room, motion, desk.operator, link, force, desk.p1, dt, desk.scheme)
    work = 0.0
    for i in range(influence.size):
        work += influence[i] * motion.dq[i]
    tally[WORK] += 0.5 * (ground[step] + ground[step + 1]) * work
    strain = _strain(plan, room, motion) - tally[FIRST]
    for k in range(force.size):
        strain += 0.5 * abs((link.force[k] - link.zero[k]) * (link.target[k] - link.at[k]))
    tally[STRAIN] = max(tally[STRAIN], strain)
    row = step + 1
    for k in range(force.size):
        desk.measured[row, k] = link.force[k]
    if keep:
        record(motion, room, desk.log, row, room.counts_before)


@uncounted
def _strain(plan, room, motion):  # type: ignore[no-untyped-def]
    """Recoverable energy of linear members and parts."""
    symmetric_product(plan.k_start, plan.k_row, plan.k_val, motion.q, room.z)
    strain = 0.0
    for i in range(motion.q.size):
        strain += 0.5 * motion.q[i] * room.z[i]
    for part in range(motion.stored.size):
        strain += motion.stored[part]
    return strain


class FrameSolver:
    """Steps the computed `system` with a scheme against a measured force; a `Solver`.

    `system`: the computed part, or a `Split` (its computed part, which may float). `interface`: rows (f, n) on the
    system's free freedoms, or a sequence of (node, component); with a `Split` rows (f, interface freedoms) of the
    motions that are imposed, or None for all of them. `tested`: what is
    declared of the tested part, on the interface freedoms; its mass is added to the equation of motion and to the
    ground's load, once. `scheme`: `OperatorSplitting`, `LinearlyImplicit`, `Chang` or `KRAlpha`. `record` has
    `acceleration` (m/s²) and `dt` (s) and moves the ground horizontally, times `factor`; `duration` (s) adds rest
    after it. `damping` has ``matrix(system, state)``, or is that matrix. `start`: reading of the specimen when the
    test begins (zero: the channels are zeroed in the starting state). `history`: keep every step for `response`.

    The virgin frame with its laws at their largest known stiffness is the operator. Raises `InputError` for a
    specimen stiffer than its operator, and for an interface without mass under an explicit scheme.
    """

    def __init__(
        self,
        system: System | Split,
        interface: Any,
        tested: Declared,
        scheme: Any,
        record: Any,
        *,
        factor: float = 1.0,
        dt: float | None = None,
        duration: float | None = None,
        state: State | None = None,
        damping: Any = None,
        time_scale: float = 1.0,
        start: Reading | None = None,
        history: bool = True,
        options: Options | None = None,
    ) -> None:
        self.tested, self.scheme = tested, scheme
        self.split = system if isinstance(system, Split) else None
        if isinstance(system, Split):
            picked = system.pick_computed.toarray()
            interface = (
                picked if interface is None else np.atleast_2d(np.asarray(interface, dtype=float)) @ picked
            )
            system = system.computed_system
        self.system = system
        self.L = interface_rows(system, interface)
        self.freedoms = len(self.L)
        self.margin = check_operator(tested.operator, tested.credible)
        self.time_scale = within("time scale", time_scale, 1.0, 1e6)
        self.dt = positive("step", float(record.dt) if dt is None else float(dt))
        ground = float(factor) * resampled(record.acceleration, float(record.dt), self.dt, "record")
        if duration is not None:
            rest = round(positive("duration", duration) / self.dt) + 1 - ground.size
            ground = np.concatenate([ground, np.zeros(max(0, rest))])
        self.ground = np.ascontiguousarray(ground)
        self.steps = self.ground.size - 1
        self.begin = state or system.rest()
        self.keeps = bool(history)
        self._prepare(damping)
        self._given = start, options or Options()
        self._start(*self._given)

    @property
    def origin(self) -> np.ndarray:
        """Interface displacement (freedoms,) from which it starts."""
        return np.array(self.link.at)

    def fresh(self, scale: float = 1.0) -> "FrameSolver":
        """The same computation from its start, with the motion times `scale`; nothing is prepared anew."""
        other = copy(self)
        other.ground = scale * self.ground
        other._start(*self._given)
        return other

    # Set-up

    def _prepare(self, damping: Any) -> None:
        system, L = self.system, self.L
        operator = square("operator", self.tested.operator)
        if operator.shape != (self.freedoms, self.freedoms):
            raise InputError(
                f"operator has shape {operator.shape}; allowed: {(self.freedoms, self.freedoms)}, the interface freedoms"
            )
        zero = np.zeros_like(operator)
        own_mass = zero if self.tested.mass is None else square("specimen mass", self.tested.mass)
        own_damping = zero if self.tested.damping is None else square("specimen damping", self.tested.damping)
        lam = self.time_scale
        share_m, share_c = ((1.0 - lam**-2), (1.0 - 1.0 / lam)) if self.tested.felt else (1.0, 1.0)
        rows = csr_matrix(L)
        self.M = csr_matrix(system.mass + rows.T @ (share_m * own_mass) @ rows)
        given = (
            0.0 * system.mass
            if damping is None
            else (damping.matrix(system, self.begin) if hasattr(damping, "matrix") else damping)
        )
        self.C = csr_matrix(csr_matrix(given) + rows.T @ (share_c * own_damping) @ rows)
        if self.C.shape != self.M.shape:
            raise InputError(f"damping has shape {self.C.shape}; allowed: {self.M.shape}, the free freedoms")
        moves = np.zeros(system.size)
        moves[0 : 3 * len(system.node_index) : 3] = 1.0
        for name, freedoms in system.freedoms_of.items():
            for k, along in enumerate(system.pieces[name].translation):
                moves[freedoms[6 + k]] = along[0]
        self.influence = -(system.influence() + L.T @ (own_mass @ (L @ moves[system.leads])))
        made = self._scheme()
        virgin = Virgin(system)
        if isinstance(made, whole_schemes.OperatorSplitting | whole_schemes.GeneralizedAlpha):
            self._splitting(virgin, operator)
        else:
            self._explicit(virgin, operator, made)
        self.array = made.array()

    def _scheme(self) -> Any:
        given = self.scheme
        if isinstance(given, OperatorSplitting):
            return whole_schemes.operator_splitting(given.alpha)
        if isinstance(given, LinearlyImplicit):
            return whole_schemes.chung_hulbert(given.rho)
        if isinstance(given, Chang):
            return whole_schemes.chang()
        if isinstance(given, KRAlpha):
            return whole_schemes.kolay_ricles(given.rho)
        raise InputError(
            f"scheme is {given!r}; allowed: OperatorSplitting, LinearlyImplicit, Chang, KRAlpha of frame2d.hybrid: one "
            "measured displacement a step. Likely mistake: a scheme that iterates"
        )

    def _splitting(self, virgin: Virgin, operator: np.ndarray) -> None:
        system, L, n = self.system, self.L, self.system.count
        touched = np.flatnonzero(np.abs(L).sum(axis=0))
        grid = np.meshgrid(touched, touched, indexing="ij")
        damping = self.C.tocoo()
        # Entries that are stored zeros enlarge the pattern by the interface.
        rows = np.concatenate([damping.row, grid[0].ravel()])
        cols = np.concatenate([damping.col, grid[1].ravel()])
        values = np.concatenate([damping.data, np.zeros(grid[0].size)])
        plan: Plan = system._plan(csr_matrix(coo_matrix((values, (rows, cols)), shape=(n, n))))
        starts = plan.a_start.astype(np.int64)
        a_col = np.repeat(np.arange(n), starts[1:] - starts[:-1])
        pattern = plan.pattern
        tangent = np.zeros(plan.row.size)
        np.add.at(tangent, plan.t_place, plan.t_weight * virgin.ke[plan.t_entry])
        share = L.T @ operator @ L
        i, j = grid[0].ravel(), grid[1].ravel()
        lower = i >= j
        np.add.at(tangent, pattern.places(i[lower], j[lower]), share[i[lower], j[lower]])
        m_start, m_row, m_val = lower_columns(self.M)
        self.plan = plan._replace(
            mass=np.asarray(self.M[plan.a_row, a_col]).ravel(),
            m_start=m_start, m_row=m_row, m_val=m_val, virgin=tangent,
            inertial=(np.asarray(abs(self.M).sum(axis=0)).ravel() > 0.0).astype(float),
        )  # fmt: skip
        self.held = self.plan
        small = np.zeros((0, 0))
        self.operator = _operator(SPLITTING, virgin, n, Matrices(*(small,) * 7, 0.0), small, small, self.dt)

    def _explicit(self, virgin: Virgin, operator: np.ndarray, made: Any) -> None:
        system, massive = self.system, virgin.massive
        massless = np.flatnonzero(np.abs(self.L[:, virgin.massless]).sum(axis=1) > 0.0)
        if massless.size:
            raise InputError(
                f"interface freedom {massless[0] + 1} moves a freedom without mass, which an explicit scheme finds from "
                "equilibrium, after the specimen was measured; allowed: freedoms with mass, or OperatorSplitting and "
                "LinearlyImplicit"
            )
        own = self.L[:, massive]
        mass = self.M[massive][:, massive].toarray()
        viscous = virgin.condense(self.C)
        stiffness = virgin.condense(virgin.whole) + own.T @ operator @ own
        coefficients = made.matrices(mass, viscous, stiffness, self.dt)
        self.operator = _operator(EXPLICIT, virgin, system.count, coefficients, mass, viscous, self.dt)
        self.plan, self.held = system.plan, _held(virgin)
        self.C = csr_matrix(virgin.spread(viscous))

    def _start(self, start: Reading | None, options: Options) -> None:
        system, begin, n = self.system, self.begin, self.system.count
        zero = np.zeros(self.freedoms)
        first = Reading(zero, zero) if start is None else start
        at, force = (np.array(x, dtype=np.float64).reshape(-1) for x in (first.displacement, first.force))
        if at.shape != zero.shape or force.shape != zero.shape:
            raise InputError(f"start has {at.size} displacements; allowed: {self.freedoms}")
        self.motion = begin.copy_motion()
        self.motion.account[:] = 0.0
        self.motion.work[:] = 0.0
        self.motion.dq[:] = 0.0
        at_rest(system, self.motion, begin.supports)
        rest = self.motion.f.copy()
        coupling = system.support_coupling() @ begin.supports
        self.base = begin.load - coupling
        p0 = self.base + self.influence * self.ground[0]
        self.motion.f[:] = rest
        inertial = np.flatnonzero(np.asarray(abs(self.M).sum(axis=0)).ravel() > 0.0)
        if not inertial.size:
            raise InputError("neither the computed nor the tested part has mass; allowed: some")
        out_of_balance = (p0 - rest - np.asarray(self.C @ self.motion.v).ravel())[inertial]
        self.motion.a[:] = 0.0
        self.motion.a[inertial] = splu(self.M[inertial][:, inertial].tocsc()).solve(out_of_balance)
        self.room = new_room(self.plan)
        self.room.shift[: system.imposed_parts.shape[0]] = system.imposed_parts @ begin.supports
        self.link = Link(
            np.ascontiguousarray(self.L), self.motion.q.copy(), at, np.ascontiguousarray(self.tested.operator, dtype=float),
            force.copy(), at.copy(), force.copy(), zero.copy(), p0, p0.copy(),
        )  # fmt: skip
        peak = np.abs(self.influence) * np.abs(self.ground).max() + np.abs(self.base) + np.abs(rest)
        reference = max(system.force_scale(peak), system.rounding / options.tolerance)
        self.options = options.array(reference)
        self.tally = np.zeros(3)
        self.tally[FIRST] = _strain(self.plan, self.room, self.motion)
        self.p1 = np.zeros(n)
        self.step = 0
        self.log = new_log(system, self.steps + 1 if self.keeps else 1)
        for table in self.log:
            table.fill(0)  # the pages are there before a step needs them
        self.log.put(0, self.motion)
        self.measured = np.zeros((self.steps + 1, self.freedoms))
        self.measured[0] = force
        self._ready = False
        self.desk = handle(
            Desk(
                self.plan, self.held, self.room, self.motion, self.operator, self.link, self.base, self.influence,
                self.ground, self.p1, self.array, self.options, self.tally, tuple(self.log), self.measured,
            )
        )  # fmt: skip

    # Steps

    def predict(self) -> np.ndarray:
        """Interface displacement of the next step."""
        if self.step >= self.steps:
            raise Frame2dError("the motion is over: there is no next step")
        status = ahead(self.desk, self.step, self.dt)
        if status != CONVERGED:
            raise Frame2dError(
                f"the computed part has no equilibrium at step {self.step + 1} of {self.steps}; nothing was commanded. "
                "Likely mistake: a law that ends, or a collapse of the computed part"
            )
        self._ready = True
        return self.link.target.copy()

    def correct(self, force: np.ndarray) -> None:
        """Take the measured force and finish the step."""
        if not self._ready:
            raise Frame2dError("correct was called without predict: a step would be lost")
        self._ready = False
        behind(self.desk, self.step, np.ascontiguousarray(force, dtype=np.float64), self.dt, self.keeps)
        self.step += 1

    def energies(self) -> Energies:
        """Work of the ground, and the largest recoverable energy so far, computed and tested part together."""
        work, strain, _ = self.tally.tolist()
        return Energies(abs(work), strain)

    # Afterwards

    @property
    def reading(self) -> Reading:
        """Interface displacement and force where the solver stands now: the `start` of a test that goes on from here."""
        d = self.link.at + self.L @ (self.motion.q - self.link.origin)
        return Reading(d, self.link.force.copy())

    def state(self) -> State:
        """State of the computed part now; its load holds the force of the tested part."""
        return self.response().state

    def response(self) -> Response:
        """Histories of the computed part up to now; the tested part's force is an applied load of it."""
        done = self.step + 1 if self.keeps else 1
        if not self.keeps:
            self.room.counts_before[:] = 0
            self.log.put(0, self.motion, self.room)
        patterns = np.vstack([self.influence, -self.L])
        change = self.measured[:done] - self.link.zero
        ground = self.ground[:done]
        extra = {
            "ground": ground, "influence": -self.influence, "patterns": patterns,
            "factors": np.column_stack([ground, change]), "base": self.base, "scheme": str(self.scheme), "dt": self.dt,
            "damping": self.C, "drift_limit": None,
        }  # fmt: skip
        load = self.begin.load - self.L.T @ (self.link.force - self.link.zero)
        time = self.begin.time + self.dt * np.arange(done)
        if not self.keeps:
            time = np.array([self.begin.time + self.dt * self.step])
        supports = np.tile(self.begin.supports, (done, 1))
        ending = Ending.COMPLETED if self.step == self.steps else Ending.INTERRUPTED
        motion = self.motion._replace(**{name: array.copy() for name, array in self.motion._asdict().items()})
        return finish(
            self.system, self.begin, motion, self.room, self.log, done, ending, "time history", time, load, supports,
            extra, self.plan,
        )  # fmt: skip

    def condensed(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """M, C, K of both parts together at their operator, interface rows and ground load, on the freedoms with mass.

        The others follow statically (Guyan 1965): what predictions of stability and modes take.
        """
        virgin, rows = Virgin(self.system), self.L
        operator = csr_matrix(rows.T @ self.link.operator @ rows)
        massive = np.flatnonzero(np.asarray(abs(self.M).sum(axis=0)).ravel() > 0.0)
        rest = np.setdiff1d(np.arange(self.system.count), massive)
        whole = csr_matrix(virgin.whole + operator)
        follow = np.zeros((self.system.count, massive.size))
        follow[massive] = np.eye(massive.size)
        if rest.size:
            side = whole[rest]
            follow[rest] = -splu(side[:, rest].tocsc()).solve(side[:, massive].toarray())
        M, C, K = (follow.T @ (matrix @ follow) for matrix in (self.M, self.C, whole))
        return M, C, K, rows @ follow, -follow.T @ self.influence

    def predicted(
        self, tested: np.ndarray, lag: float, weights: np.ndarray | None = None, time_constant: float = 0.0
    ) -> Margin:
        """Stability of the loop with the specimen's true stiffness `tested` (f, f), by `loop_margin`.

        `lag` and `time_constant` in laboratory seconds; the margin counts them over the time scale.
        """
        M, C, K, rows, _ = self.condensed()
        stepper = Stepper(self.scheme, M, C, K, self.dt)
        own = K - rows.T @ self.link.operator @ rows
        lam = self.time_scale
        return loop_margin(stepper, own, rows, np.atleast_2d(tested), lag / lam, weights, time_constant / lam)

    def describe(self) -> dict[str, Any]:
        """Plain data that fixes the computation, for the journal."""
        digest = sha256()
        arrays = (
            self.ground,
            self.influence,
            self.base,
            self.L,
            self.link.operator,
            self.link.at,
            self.link.zero,
        )
        for array in (*arrays, self.motion.q * 0.0 + self.link.origin, self.begin.motion.m0):
            digest.update(np.ascontiguousarray(array).tobytes())
        for matrix in (self.M, self.C, self.system.stiffness):
            digest.update(csr_matrix(matrix).data.tobytes())
        digest.update(self.plan.parameters[self._plain_parameters()].tobytes())
        return {
            "solver": "FrameSolver",
            "frame": self.system.frame.name,
            "scheme": repr(self.scheme),
            "freedoms": self.system.count,
            "interface": self.freedoms,
            "dt": self.dt,
            "steps": self.steps,
            "time scale": self.time_scale,
            "digest": digest.hexdigest(),
        }

    def _plain_parameters(self) -> np.ndarray:
        """Parameters of the parts that are not addresses, which differ from process to process."""
        return np.flatnonzero(np.abs(self.plan.parameters) < 2**40)


def interface_rows(system: System, interface: Any) -> np.ndarray:
    """Rows (f, n) that pick the interface displacement out of the free freedoms.

    `interface`: the rows themselves, or a sequence with one entry an interface freedom: (node, component), or a
    mapping {(node, component): weight} for a motion that several components make.
    """
    if isinstance(interface, np.ndarray) or hasattr(interface, "toarray"):
        rows = np.atleast_2d(interface.toarray() if hasattr(interface, "toarray") else interface).astype(
            float
        )
    elif isinstance(interface, Sequence) and not isinstance(interface, str) and len(interface):
        made = []
        for entry in interface:
            terms = entry if isinstance(entry, Mapping) else {tuple(entry): 1.0}
            made.append(sum(weight * system.row(*place) for place, weight in terms.items()))
        rows = np.array(made, dtype=float)
    else:
        raise InputError(
            f"interface is {interface!r}; allowed: rows on the free freedoms, or a list of (node, component)"
        )
    if rows.shape[1] != system.count or not np.isfinite(rows).all():
        raise InputError(
            f"interface rows have {rows.shape[1]} columns; allowed: {system.count} finite numbers, the free freedoms"
        )
    for k, row in enumerate(rows):
        if not np.any(row):
            raise InputError(
                f"interface freedom {k + 1} moves nothing that is free; allowed: components that are not supported"
            )
    return np.ascontiguousarray(rows)


__all__ = ["FrameSolver", "ahead", "behind", "interface_rows"]
