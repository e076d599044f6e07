"""In-process specimen: laws in parallel and in series between the interface freedoms, stepped in compiled code.

Freedoms q = (interface u, internal w). Spring i deforms by d_i = b_i·q + o_i and answers f_i(d_i), and linear members
between the freedoms answer E·q + c; internal freedoms carry no other load: Σ b_i,w f_i + (E·q + c)_w = 0, solved by
Newton iteration; the interface force is r = Σ b_i,u f_i + (E·q + c)_u and its condensed tangent
K = K_uu − K_uw K_ww⁻¹ K_wu. Source: static condensation with local iteration, common practice.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from frame2d.bundle import bundle
from frame2d.errors import Frame2dError, InputError
from frame2d.hybrid.specimen import Command, Reading, Specimen
from frame2d.kernels import NOT_CONVERGED, OK, at, call_law, inner, uncounted
from frame2d.materials.law import Law

_ITERATIONS = 40
_TOLERANCE = 1e-11


@bundle
class Arrays(NamedTuple):
    """A network as the compiled code sees it; s springs, n interface and w internal freedoms."""

    addresses: np.ndarray  # (s,) int64
    parameters: np.ndarray
    parameters_at: np.ndarray  # (s,) int64
    committed: np.ndarray
    trial: np.ndarray
    memory_at: np.ndarray  # (s,) int64
    rows: np.ndarray  # (s, n + w)
    offset: np.ndarray  # (s,)
    linear: np.ndarray  # (n + w, n + w), or (0, 0)
    constant: np.ndarray  # (n + w,)
    q: np.ndarray  # (n + w,) committed freedoms
    q_trial: np.ndarray
    out: np.ndarray  # (8,)
    force: np.ndarray  # (n,)
    tangent: np.ndarray  # (n, n)
    springs: np.ndarray  # (s, 3): deformation, force, tangent
    work: np.ndarray  # (w, w + n + 1)


@inner
def _springs(net, dt):  # type: ignore[no-untyped-def]
    """Answer of every spring at the trial freedoms."""
    total = net.q.size
    for i in range(net.addresses.size):
        deformation = net.offset[i]
        before = net.offset[i]
        for j in range(total):
            deformation += net.rows[i, j] * net.q_trial[j]
            before += net.rows[i, j] * net.q[j]
        rate = (deformation - before) / dt if dt > 0.0 else 0.0
        status = call_law(
            net.addresses[i],
            at(net.parameters, net.parameters_at[i]),
            at(net.committed, net.memory_at[i]),
            deformation,
            rate,
            dt,
            at(net.out, 0),
            at(net.trial, net.memory_at[i]),
        )
        if status != OK:
            return status
        net.springs[i, 0] = deformation
        net.springs[i, 1] = net.out[0]
        net.springs[i, 2] = net.out[1] + (net.out[2] / dt if dt > 0.0 else 0.0)
    return OK


@inner
def eliminate(a, rows, columns):  # type: ignore[no-untyped-def]
    """Gauss elimination with row exchange on a (rows, columns) block; the right sides become solutions."""
    for k in range(rows):
        pivot = k
        for i in range(k + 1, rows):
            if abs(a[i, k]) > abs(a[pivot, k]):
                pivot = i
        if a[pivot, k] == 0.0:
            return NOT_CONVERGED
        if pivot != k:
            for j in range(columns):
                a[k, j], a[pivot, j] = a[pivot, j], a[k, j]
        for i in range(rows):
            if i != k:
                factor = a[i, k] / a[k, k]
                for j in range(k, columns):
                    a[i, j] -= factor * a[k, j]
    for k in range(rows):
        for j in range(rows, columns):
            a[k, j] /= a[k, k]
    return OK


@inner
def respond(net, u, dt):  # type: ignore[no-untyped-def]
    """Trial answer to interface displacement `u`: fills `net.force` and `net.tangent`; nothing is committed."""
    n = net.force.size
    total = net.q.size
    inner = total - n
    count = net.addresses.size
    for j in range(n):
        net.q_trial[j] = u[j]
    for j in range(n, total):
        net.q_trial[j] = net.q[j]
    stiff = net.linear.shape[0] > 0
    last = np.inf
    scale = 1.0
    for iteration in range(_ITERATIONS):
        status = _springs(net, dt)
        if status != OK:
            return status
        if inner == 0:
            break
        worst = 0.0
        largest = 0.0
        for i in range(count):
            largest = max(largest, abs(net.springs[i, 1]))
        for a in range(inner):
            residual = 0.0
            for b in range(inner):
                net.work[a, b] = 0.0
            for i in range(count):
                row = net.rows[i, n + a]
                if row != 0.0:
                    residual += row * net.springs[i, 1]
                    for b in range(inner):
                        net.work[a, b] += row * net.springs[i, 2] * net.rows[i, n + b]
            if stiff:
                residual += net.constant[n + a]
                for j in range(total):
                    term = net.linear[n + a, j] * net.q_trial[j]
                    residual += term
                    largest = max(largest, abs(term))
                for b in range(inner):
                    net.work[a, b] += net.linear[n + a, n + b]
            net.work[a, inner] = -residual
            worst = max(worst, abs(residual))
        if worst <= _TOLERANCE * largest or worst == 0.0:
            break
        if iteration == _ITERATIONS - 1:
            return NOT_CONVERGED
        # A kink can send Newton back and forth; halving the step breaks the cycle.
        scale = 1.0 if worst < last else 0.5 * scale
        last = worst
        if eliminate(net.work, inner, inner + 1) != OK:
            return NOT_CONVERGED
        for a in range(inner):
            net.q_trial[n + a] += scale * net.work[a, inner]
    for a in range(n):
        net.force[a] = net.constant[a]
        for b in range(n):
            net.tangent[a, b] = 0.0
        if stiff:
            for j in range(total):
                net.force[a] += net.linear[a, j] * net.q_trial[j]
            for b in range(n):
                net.tangent[a, b] = net.linear[a, b]
    for i in range(count):
        for a in range(n):
            row = net.rows[i, a]
            if row != 0.0:
                net.force[a] += row * net.springs[i, 1]
                for b in range(n):
                    net.tangent[a, b] += row * net.springs[i, 2] * net.rows[i, b]
    if inner > 0:
        for a in range(inner):
            for b in range(total):
                net.work[a, (b - n) if b >= n else (inner + b)] = 0.0
            for i in range(count):
                row = net.rows[i, n + a] * net.springs[i, 2]
                if row != 0.0:
                    for b in range(total):
                        net.work[a, (b - n) if b >= n else (inner + b)] += row * net.rows[i, b]
            if stiff:
                for b in range(total):
                    net.work[a, (b - n) if b >= n else (inner + b)] += net.linear[n + a, b]
        if eliminate(net.work, inner, inner + n) != OK:
            return NOT_CONVERGED
        for i in range(count):
            for a in range(n):
                row = net.rows[i, a] * net.springs[i, 2]
                if row != 0.0:
                    for c in range(inner):
                        for b in range(n):
                            net.tangent[a, b] -= row * net.rows[i, n + c] * net.work[c, inner + b]
        if stiff:
            for a in range(n):
                for c in range(inner):
                    for b in range(n):
                        net.tangent[a, b] -= net.linear[a, n + c] * net.work[c, inner + b]
    return OK


@inner
def commit(net):  # type: ignore[no-untyped-def]
    """Make the trial answer the present state."""
    for j in range(net.q.size):
        net.q[j] = net.q_trial[j]
    for j in range(net.committed.size):
        net.committed[j] = net.trial[j]


@uncounted
def answer(net, u, dt):  # type: ignore[no-untyped-def]
    """`respond` and, if there is an answer, `commit`; returns a status."""
    status = respond(net, u, dt)
    if status == OK:
        commit(net)
    return status


class Network:
    """Laws on interface freedoms; ``springs`` are pairs (law, row over interface then internal freedoms).

    `single`, `parallel` and `series` make the usual ones, `frame2d.hybrid.condense` one of a frame. `linear`: stiffness
    of linear members (freedoms + internal, square), `constant`: their force at the start, `offsets` and `memories` of
    the springs there; a virgin network without linear members needs none. Raises `InputError` for rows of the wrong
    length, and for an internal freedom without a spring.
    """

    def __init__(
        self,
        springs: Sequence[tuple[Law, Sequence[float]]],
        freedoms: int = 1,
        internal: int = 0,
        linear: Any = None,
        constant: Any = None,
        offsets: Any = None,
        memories: Sequence[np.ndarray] | None = None,
    ) -> None:
        total = freedoms + internal
        self.linear = np.zeros((0, 0)) if linear is None else np.array(linear, dtype=np.float64)
        self.constant = np.zeros(total) if constant is None else np.array(constant, dtype=np.float64)
        self.offsets = np.zeros(len(springs)) if offsets is None else np.array(offsets, dtype=np.float64)
        self.memories = memories
        if self.linear.shape not in ((0, 0), (total, total)) or self.constant.shape != (total,):
            raise InputError(
                f"linear members of a network have shapes {self.linear.shape}, {self.constant.shape}; allowed: "
                f"{(total, total)} and {(total,)}"
            )
        if not springs and not self.linear.size:
            raise InputError("a network has no springs; allowed: one or more")
        rows = np.zeros((len(springs), freedoms + internal))
        for i, (law, row) in enumerate(springs):
            if not isinstance(law, Law):
                raise InputError(
                    f"spring {i} of a network has {type(law).__name__}; allowed: a Law of frame2d.materials"
                )
            if len(row) != freedoms + internal or not np.all(np.isfinite(row)):
                raise InputError(
                    f"row of spring {i} is {list(row)!r}; allowed: {freedoms + internal} finite numbers, the "
                    f"{freedoms} interface freedoms first, then the {internal} internal ones"
                )
            rows[i] = row
        for j in range(freedoms + internal):
            if not rows[:, j].any() and not (self.linear.size and self.linear[j].any()):
                kind = "interface" if j < freedoms else "internal"
                raise InputError(f"no spring is attached to {kind} freedom {j}: it would be free to move")
        self.laws = [law for law, _ in springs]
        self.rows = rows
        self.freedoms, self.internal = freedoms, internal

    @classmethod
    def single(cls, law: Law) -> "Network":
        """One law on one freedom."""
        return cls([(law, [1.0])])

    @classmethod
    def parallel(cls, *laws: Law) -> "Network":
        """Several laws that share one deformation."""
        return cls([(law, [1.0]) for law in laws])

    @classmethod
    def series(cls, *laws: Law) -> "Network":
        """Several laws that share one force, from the ground to the interface."""
        count = len(laws)
        springs: list[tuple[Law, list[float]]] = []
        for i, law in enumerate(laws):
            row = np.zeros(count)
            row[0 if i == count - 1 else i + 1] = 1.0
            if i > 0:
                row[i] = -1.0
            springs.append((law, row.tolist()))
        return cls(springs, freedoms=1, internal=count - 1)

    def arrays(self) -> Arrays:
        """Fresh arrays of the virgin network."""
        parameters = [np.asarray(law.lean_parameters(), dtype=np.float64) for law in self.laws]
        given = self.memories or [law.initial_memory() for law in self.laws]
        memories = [np.array(memory, dtype=np.float64) for memory in given]
        memory = np.concatenate([*memories, np.zeros(1)])
        n, w, s = self.freedoms, self.internal, len(self.laws)
        return Arrays(
            np.array([law.kernel.address for law in self.laws], dtype=np.int64),
            np.concatenate([*parameters, np.zeros(1)]),
            _starts(parameters),
            memory,
            memory.copy(),
            _starts(memories),
            np.ascontiguousarray(self.rows),
            self.offsets,
            self.linear,
            self.constant,
            np.zeros(n + w),
            np.zeros(n + w),
            np.zeros(8),
            np.zeros(n),
            np.zeros((n, n)),
            np.zeros((s, 3)),
            np.zeros((max(w, 1), w + n + 1)),
        )

    @property
    def stiffness(self) -> np.ndarray:
        """Initial elastic stiffness on the interface freedoms, (n, n), by the laws' own `stiffness`."""
        k = np.array([law.stiffness for law in self.laws])
        full = (self.rows.T * k) @ self.rows
        if self.linear.size:
            full = full + self.linear
        n = self.freedoms
        if not self.internal:
            return full
        return np.asarray(full[:n, :n] - full[:n, n:] @ np.linalg.solve(full[n:, n:], full[n:, :n]))

    def describe(self) -> dict[str, Any]:
        """Plain data for the journal."""
        return {
            "laws": [law.describe() for law in self.laws],
            "rows": self.rows.tolist(),
            "freedoms": self.freedoms,
            **(
                {"linear": self.linear.tolist(), "offsets": self.offsets.tolist()} if self.linear.size else {}
            ),
        }


def _starts(pieces: list[np.ndarray]) -> np.ndarray:
    if not pieces:
        return np.zeros(0, dtype=np.int64)
    return np.concatenate([[0], np.cumsum([piece.size for piece in pieces])[:-1]]).astype(np.int64)


class Model(Specimen):
    """In-process specimen that reaches every command exactly and answers by a `Network` of laws.

    `rate` multiplies laboratory velocities before the laws see them (the time scale λ, if rate-dependent laws should
    answer as at full speed); ``dt = 0``, no rate effect, when a command has no duration.
    """

    replayable = True

    def __init__(self, network: Network | Law, rate: float = 1.0) -> None:
        self.network = Network.single(network) if isinstance(network, Law) else network
        super().__init__(self.network.freedoms)
        self.rate = float(rate)
        self._net = self.network.arrays()

    @property
    def stiffness(self) -> np.ndarray:
        """Initial elastic stiffness, (n, n)."""
        return self.network.stiffness

    def apply(self, command: Command) -> Reading:
        u = np.ascontiguousarray(command.displacement, dtype=np.float64)
        status = answer(self._net, u, command.duration / self.rate)
        if status != OK:
            raise Frame2dError(f"the specimen's laws have no answer at displacement {u.tolist()}")
        self.last_sequence = command.sequence
        return self.read()

    def at_zero(self) -> np.ndarray:
        """Force (freedoms,) at zero displacement of a specimen that has not moved yet."""
        answer(self._net, np.zeros(self.freedoms), 0.0)
        return self._net.force.copy()

    def read(self) -> Reading:
        return Reading(self._net.q[: self.freedoms].copy(), self._net.force.copy())

    def describe(self) -> dict[str, Any]:
        return {"specimen": "Model", **self.network.describe()}
