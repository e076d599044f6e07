"""Simulated rig: servo-hydraulic actuators, their controller and sensors around a specimen of laws, in compiled code.

The controller runs at its own rate over the whole laboratory duration of each command. The plant of `actuator` is
stepped by the valve's exact response to a held command and one linearly implicit trapezoidal step of pressure and
velocity, so that a stiff oil column costs no small steps; dry friction is solved exactly (stick or slip) in the same
step. Source of the friction step: implicit treatment of set-valued friction, J. J. Moreau, 1988 (from memory).
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from frame2d.bundle import bundle, handle
from frame2d.errors import Frame2dError, InputError, known, within
from frame2d.hybrid.actuator import Actuator, Controller, Sensors, described
from frame2d.hybrid.geometry import Geometry, pose_at, strokes_at
from frame2d.hybrid.network import Arrays, Network, commit, eliminate, respond
from frame2d.hybrid.specimen import Command, Reading, Refused, Specimen
from frame2d.kernels import OK, compiled, inlined, inner
from frame2d.materials.law import Law

# Columns of the parameter table, one row an actuator.
(AREA, STROKE, SUPPLY, GAIN, COMPLIANCE, LEAK, MASS, VISCOUS, COULOMB, BREAK, FRAME, GAP, OWN_MASS, OWN_DAMPING,
 V00, V01, V10, V11) = range(18)  # fmt: skip
# Columns of the state table.
X, V, P, S, DS, FORCE, STIFF, CELL, INTEGRAL, ERROR, SLOW, BIAS_U, BIAS_F, FEEDBACK, SUM_U, SUM_F, REACH = (
    range(17)
)
# Columns of the table of extremes.
(
    PEAK_STROKE,
    PEAK_FORCE,
    PEAK_VELOCITY,
    PEAK_FLOW,
    PEAK_VALVE,
    SATURATED,
    PEAK_PRESSURE,
    PEAK_ERROR,
    END_STOP,
) = range(9)
# Control numbers.
RATE, SUBSTEPS, KP, KI, KD, KFF, KDP, CORNER, DELAY, EXTERNAL, U_NOISE, F_NOISE, U_STEP, F_STEP = range(14)
U_DRIFT, F_DRIFT, U_WALK, F_WALK = range(14, 18)


@bundle
class RigArrays(NamedTuple):
    """A rig as the compiled code sees it; m actuators, n interface freedoms."""

    parameters: np.ndarray  # (m, 18)
    control: np.ndarray  # (18,)
    state: np.ndarray  # (m, 17)
    extremes: np.ndarray  # (m, 9)
    line: np.ndarray  # (m, L) commands under way
    cursor: np.ndarray  # (1,) int64
    start: np.ndarray  # (n,) commanded pose
    path: np.ndarray  # (n,) commanded pose now
    pose: np.ndarray  # (n,) true pose of the specimen
    codes: np.ndarray  # (n,) int64 freedoms of the geometry, empty: strokes are the freedoms
    pins: np.ndarray  # (m, 5)
    strokes: np.ndarray  # (m,)
    jacobian: np.ndarray  # (m, n)
    work: np.ndarray  # (n, 2n + 1)
    step: np.ndarray  # (n,)
    reached: np.ndarray  # (m,)
    valve: np.ndarray  # (m,)


@bundle
class Bench(NamedTuple):
    """Rig, specimen and noise, handed to compiled code in one piece."""

    rig: RigArrays
    net: Arrays
    rng: np.random.Generator


@inner
def _flow(gain, supply, spool, pressure):  # type: ignore[no-untyped-def]
    """Orifice flow; it reverses when the load pressure exceeds the supply."""
    margin = 1.0 - pressure / supply if spool >= 0.0 else 1.0 + pressure / supply
    return gain * spool * (np.sqrt(margin) if margin >= 0.0 else -np.sqrt(-margin))


@inner
def _into_strokes(state, codes, jacobian, work, force, tangent):  # type: ignore[no-untyped-def]
    """Actuator forces f of Jᵀf = r, and the diagonal of their tangent J⁻ᵀ·K·J⁻¹; returns a status."""
    n = codes.size
    for a in range(n):
        for b in range(n):
            work[a, b] = jacobian[b, a]
            work[a, n + b] = tangent[a, b]
        work[a, 2 * n] = force[a]
    status = eliminate(work, n, 2 * n + 1)
    if status != OK:
        return status
    for j in range(n):
        state[j, FORCE] = work[j, 2 * n]
    for a in range(n):  # transpose the right block and solve again
        for b in range(a):
            work[a, n + b], work[b, n + a] = work[b, n + a], work[a, n + b]
    for a in range(n):
        for b in range(n):
            work[a, b] = jacobian[b, a]
    status = eliminate(work, n, 2 * n)
    for j in range(n):
        state[j, STIFF] = work[j, n + j]
    return status


@inlined
def _answer(rig, net, dt):  # type: ignore[no-untyped-def]
    """Force of the specimen on every actuator at the present strokes, committed.

    With clearance the one actuator pushes the specimen from one side (try 0), pulls it from the other (try 1), or
    leaves it free in between: then it unloads to zero force from where it was last held (tries 2 to 21).
    """
    state, m, pose = rig.state, rig.state.shape[0], rig.pose
    placed = rig.codes.size > 0
    gap = 0.0 if placed else 0.5 * rig.parameters[0, GAP]
    held = pose[0]
    for attempt in range(23):
        if placed:
            for j in range(m):
                rig.strokes[j] = state[j, X]
            status = pose_at(
                rig.strokes, rig.codes, rig.pins, pose, rig.reached, rig.jacobian, rig.work, rig.step
            )
            if status != OK:
                return status
        elif gap == 0.0:
            for j in range(m):
                pose[j] = state[j, X]
        elif attempt < 2:
            pose[0] = state[0, X] + (gap if attempt == 1 else -gap)
        elif attempt == 2:
            pose[0] = held
        elif attempt == 22:
            pose[0] = min(max(pose[0], state[0, X] - gap), state[0, X] + gap)
        status = respond(net, pose, dt)
        if status != OK:
            return status
        if gap == 0.0:
            break
        if attempt < 2:
            if (net.force[0] > 0.0) == (attempt == 0) and net.force[0] != 0.0:
                break
        elif attempt < 22 and net.tangent[0, 0] > 0.0:
            pose[0] -= net.force[0] / net.tangent[0, 0]
    commit(net)
    if placed:
        return _into_strokes(state, rig.codes, rig.jacobian, rig.work, net.force, net.tangent)
    for j in range(m):
        state[j, FORCE] = net.force[j] if attempt < 2 else 0.0
        state[j, STIFF] = net.tangent[j, j] if attempt < 2 else 0.0
    return OK


@inlined
def plant(rig, net, h):  # type: ignore[no-untyped-def]
    """One plant step of `h` seconds under the valve commands `rig.valve`."""
    state, parameters, extremes = rig.state, rig.parameters, rig.extremes
    for j in range(state.shape[0]):
        spool, rate = state[j, S] - rig.valve[j], state[j, DS]
        spool, rate = (
            parameters[j, V00] * spool + parameters[j, V01] * rate,
            parameters[j, V10] * spool + parameters[j, V11] * rate,
        )
        spool += rig.valve[j]
        if spool > 1.0:
            spool, rate = 1.0, min(rate, 0.0)
        elif spool < -1.0:
            spool, rate = -1.0, max(rate, 0.0)
        # Pressure step, linear in the new velocity: p' = a0 − a1·v'.
        flow = _flow(parameters[j, GAIN], parameters[j, SUPPLY], state[j, S], state[j, P])
        opened = _flow(parameters[j, GAIN], parameters[j, SUPPLY], spool, state[j, P])
        margin = (
            abs(1.0 - state[j, P] / parameters[j, SUPPLY])
            if spool >= 0.0
            else abs(1.0 + state[j, P] / parameters[j, SUPPLY])
        )
        slope = -parameters[j, GAIN] * abs(spool) / (2.0 * parameters[j, SUPPLY] * np.sqrt(max(margin, 1e-4)))
        below = parameters[j, COMPLIANCE] / h + 0.5 * parameters[j, LEAK] - 0.5 * slope
        a0 = (
            (parameters[j, COMPLIANCE] / h - 0.5 * parameters[j, LEAK]) * state[j, P]
            + 0.5 * (flow + opened - slope * state[j, P])
            - 0.5 * parameters[j, AREA] * state[j, V]
        )
        a0 /= below
        a1 = 0.5 * parameters[j, AREA] / below
        # Momentum, with the specimen linearised by its tangent, then dry friction as a threshold.
        mass = parameters[j, MASS] + parameters[j, OWN_MASS]
        drag = parameters[j, VISCOUS] + parameters[j, OWN_DAMPING]
        stiff = 0.25 * h * state[j, STIFF]
        push = (
            (mass / h - 0.5 * drag - stiff) * state[j, V]
            + 0.5 * parameters[j, AREA] * (state[j, P] + a0)
            - state[j, FORCE]
        )
        hold = parameters[j, COULOMB] * (parameters[j, BREAK] if state[j, V] == 0.0 else 1.0)
        if abs(push) <= hold:
            velocity = 0.0
        else:
            push -= parameters[j, COULOMB] if push > 0.0 else -parameters[j, COULOMB]
            velocity = push / (mass / h + 0.5 * drag + stiff + 0.5 * parameters[j, AREA] * a1)
        pressure = a0 - a1 * velocity
        x = state[j, X] + 0.5 * h * (state[j, V] + velocity)
        if abs(x) > parameters[j, STROKE]:
            x = parameters[j, STROKE] if x > 0.0 else -parameters[j, STROKE]
            velocity = 0.0
            extremes[j, END_STOP] += 1.0
        inertia = (
            parameters[j, OWN_MASS] * (velocity - state[j, V]) / h + parameters[j, OWN_DAMPING] * velocity
        )
        state[j, X], state[j, V], state[j, P], state[j, S], state[j, DS], state[j, CELL] = (
            x,
            velocity,
            pressure,
            spool,
            rate,
            inertia,
        )
    status = _answer(rig, net, h)
    if status != OK:
        return status
    for j in range(state.shape[0]):
        state[j, CELL] += state[j, FORCE]
        extremes[j, PEAK_STROKE] = max(extremes[j, PEAK_STROKE], abs(state[j, X]))
        extremes[j, PEAK_FORCE] = max(extremes[j, PEAK_FORCE], abs(state[j, CELL]))
        extremes[j, PEAK_VELOCITY] = max(extremes[j, PEAK_VELOCITY], abs(state[j, V]))
        extremes[j, PEAK_PRESSURE] = max(extremes[j, PEAK_PRESSURE], abs(state[j, P]))
        flow = _flow(parameters[j, GAIN], parameters[j, SUPPLY], state[j, S], state[j, P])
        extremes[j, PEAK_FLOW] = max(extremes[j, PEAK_FLOW], abs(flow))
    return OK


@inner
def _rounded(value, step):  # type: ignore[no-untyped-def]
    return step * np.floor(value / step + 0.5) if step > 0.0 else value


@compiled
def advance(rig, net, rng, target, ticks, ramp, smooth, averaged, trace):  # type: ignore[no-untyped-def]
    """Run `ticks` controller steps towards `target`; readings are summed over the last `averaged` of them.

    The command moves over the first `ramp` ticks, linearly or as (1 − cos)/2. `trace` (rows, 3m) records delayed
    command, true stroke and load-cell force of every tick if it has rows. Returns a status.
    """
    c, state, m = rig.control, rig.state, rig.state.shape[0]
    parameters, extremes, line = rig.parameters, rig.extremes, rig.line
    dt = 1.0 / c[RATE]
    h = dt / c[SUBSTEPS]
    length = rig.line.shape[1]
    behind = int(c[DELAY])
    part = c[DELAY] - behind
    corner = 1.0 - np.exp(-c[CORNER] * dt)
    root = np.sqrt(dt)
    for j in range(m):
        state[j, SUM_U] = 0.0
        state[j, SUM_F] = 0.0
    for tick in range(ticks):
        share = (tick + 1.0) / ramp if tick + 1 < ramp else 1.0
        if smooth:
            share = 0.5 - 0.5 * np.cos(np.pi * share)
        for i in range(target.size):
            rig.path[i] = rig.start[i] + share * (target[i] - rig.start[i])
        if rig.codes.size > 0:
            status = strokes_at(rig.path, rig.codes, rig.pins, rig.strokes, rig.jacobian)
            if status != OK:
                return status
        else:
            for j in range(m):
                rig.strokes[j] = rig.path[j]
        rig.cursor[0] = (rig.cursor[0] + 1) % length
        now = rig.cursor[0]
        early = (now - behind) % length
        late = (early - 1) % length
        later = (early - 2) % length
        for j in range(m):
            line[j, now] = rig.strokes[j]
            command = (1.0 - part) * line[j, early] + part * line[j, late]
            earlier = (1.0 - part) * line[j, late] + part * line[j, later]
            if c[U_DRIFT] != 0.0 or c[U_WALK] > 0.0:
                state[j, BIAS_U] += c[U_DRIFT] * dt + c[U_WALK] * root * rng.standard_normal()
            measured = state[j, REACH] + state[j, BIAS_U]
            if c[U_NOISE] > 0.0:
                measured += c[U_NOISE] * rng.standard_normal()
            measured = _rounded(measured, c[U_STEP])
            error = command - measured
            state[j, SLOW] += corner * (state[j, P] - state[j, SLOW])
            valve = c[KP] * error + state[j, INTEGRAL] + c[KD] * (error - state[j, ERROR]) / dt
            valve += c[KFF] * (command - earlier) / dt - c[KDP] * (state[j, P] - state[j, SLOW])
            if -1.0 <= valve <= 1.0:
                state[j, INTEGRAL] += c[KI] * error * dt
            else:
                valve = 1.0 if valve > 0.0 else -1.0
                extremes[j, SATURATED] += 1.0
            state[j, ERROR] = error
            state[j, FEEDBACK] = measured
            rig.valve[j] = valve
            extremes[j, PEAK_VALVE] = max(extremes[j, PEAK_VALVE], abs(valve))
            extremes[j, PEAK_ERROR] = max(extremes[j, PEAK_ERROR], abs(rig.strokes[j] - state[j, REACH]))
            if trace.shape[0] > tick:
                trace[tick, 3 * j] = command
        for _ in range(int(c[SUBSTEPS])):
            status = plant(rig, net, h)
            if status != OK:
                return status
        for j in range(m):
            if c[EXTERNAL] > 0.0:
                state[j, REACH] = state[j, X] if rig.codes.size > 0 else rig.pose[j]
            else:
                state[j, REACH] = state[j, X] + state[j, CELL] / parameters[j, FRAME]
            if c[F_DRIFT] != 0.0 or c[F_WALK] > 0.0:
                state[j, BIAS_F] += c[F_DRIFT] * dt + c[F_WALK] * root * rng.standard_normal()
            if tick >= ticks - averaged:
                measured = state[j, REACH] + state[j, BIAS_U]
                force = state[j, CELL] + state[j, BIAS_F]
                if c[U_NOISE] > 0.0:
                    measured += c[U_NOISE] * rng.standard_normal()
                if c[F_NOISE] > 0.0:
                    force += c[F_NOISE] * rng.standard_normal()
                state[j, SUM_U] += _rounded(measured, c[U_STEP])
                state[j, SUM_F] += _rounded(force, c[F_STEP])
            if trace.shape[0] > tick:
                trace[tick, 3 * j + 1] = state[j, X]
                trace[tick, 3 * j + 2] = state[j, CELL]
    for i in range(target.size):
        rig.start[i] = rig.path[i]
    return OK


@compiled
def move(bench, target, ticks, ramp, smooth, averaged, trace, displacement, force):  # type: ignore[no-untyped-def]
    """`advance` and `read_out` in one call; returns a status."""
    rig = bench.rig
    status = advance(rig, bench.net, bench.rng, target, ticks, ramp, smooth, averaged, trace)
    return read_out(rig, averaged, displacement, force) if status == OK else status


@compiled
def read_out(rig, averaged, displacement, force):  # type: ignore[no-untyped-def]
    """Interface displacement and force (n,) of the readings that `advance` summed; returns a status."""
    m = rig.state.shape[0]
    if rig.codes.size == 0:
        for j in range(m):
            displacement[j] = rig.state[j, SUM_U] / averaged
            force[j] = rig.state[j, SUM_F] / averaged
        return OK
    for j in range(m):
        rig.strokes[j] = rig.state[j, SUM_U] / averaged
    for i in range(displacement.size):
        displacement[i] = rig.pose[i]
    status = pose_at(
        rig.strokes, rig.codes, rig.pins, displacement, rig.reached, rig.jacobian, rig.work, rig.step
    )
    for i in range(displacement.size):
        force[i] = 0.0
        for j in range(m):
            force[i] += rig.jacobian[j, i] * rig.state[j, SUM_F] / averaged
    return status


class Peaks(NamedTuple):
    """Extremes of every actuator since the start, arrays (actuators,)."""

    stroke: np.ndarray
    force: np.ndarray
    velocity: np.ndarray
    flow: np.ndarray
    valve: np.ndarray
    #: Controller steps with the valve at its end.
    saturated: np.ndarray
    pressure: np.ndarray
    error: np.ndarray
    #: Plant steps at the end of the stroke.
    end_stop: np.ndarray


class Rig(Specimen):
    """Simulated rig around a network of laws.

    `motion`: 'continuous' moves during the whole duration of a command; 'ramp-and-hold' ramps over `ramp` of it with
    a smooth velocity and then holds; readings average the last `averaged` controller steps. `geometry` relates
    interface freedoms and strokes (None: they are the same). One `actuators` entry serves all channels. Everything
    random follows `seed`. `trace=True` keeps every controller step of the last command in `last_trace`.
    """

    replayable = True

    def __init__(
        self,
        network: Network | Law,
        actuators: Actuator | Sequence[Actuator] | None = None,
        controller: Controller | None = None,
        sensors: Sensors | None = None,
        geometry: Geometry | None = None,
        motion: str = "continuous",
        ramp: float = 0.6,
        averaged: int = 1,
        seed: int = 0,
        trace: bool = False,
    ) -> None:
        self.network = Network.single(network) if isinstance(network, Law) else network
        super().__init__(self.network.freedoms)
        n = self.freedoms
        given = Actuator() if actuators is None else actuators
        self.actuators = [given] * n if isinstance(given, Actuator) else list(given)
        self.controller = Controller() if controller is None else controller
        self.sensors = Sensors() if sensors is None else sensors
        self.geometry, self.seed, self.trace = geometry, int(seed), bool(trace)
        self.motion = known("motion of the rig", motion, ("continuous", "ramp-and-hold"))
        self.ramp = within("Rig.ramp", ramp, 0.0, 1.0, open_low=True)
        self.averaged = int(within("Rig.averaged", averaged, 1, 1e6))
        if len(self.actuators) != n:
            raise InputError(
                f"the rig has {len(self.actuators)} actuators; allowed: {n}, one an interface freedom"
            )
        if geometry is not None:
            if len(geometry.freedoms) != n or len(geometry.actuators) != n:
                raise InputError(
                    f"the geometry has {len(geometry.actuators)} actuators for {len(geometry.freedoms)} freedoms; "
                    f"allowed: {n} and {n} (the simulated rig has no spare actuators)"
                )
            if geometry.transducers is not None:
                raise InputError(
                    "the simulated rig measures along its actuators; allowed: a geometry without transducers"
                )
        if (n > 1 or geometry is not None) and any(actuator.backlash > 0.0 for actuator in self.actuators):
            raise InputError("backlash is modelled for one actuator along its freedom; allowed here: 0")
        self._rig, self._net = self._arrays(), self.network.arrays()
        self._rng = np.random.default_rng(self.seed)
        self._bench = handle(Bench(self._rig, self._net, self._rng))
        self._reading = Reading(np.zeros(n), np.zeros(n))
        self._empty = np.zeros((0, 3 * n))
        self.last_trace = self._empty
        self.ticks = 0
        self.stopped = ""

    def _arrays(self) -> RigArrays:
        n, c, s = self.freedoms, self.controller, self.sensors
        h = 1.0 / (c.rate * c.substeps)
        rows = []
        for a in self.actuators:
            rows.append([
                a.area, a.half_stroke, a.supply, a.flow_gain, a.oil_compliance, a.leakage, a.moving_mass, a.viscous,
                a.friction, a.breakaway, a.reaction_stiffness, a.backlash, a.specimen_mass, a.specimen_damping,
                *a.valve_step(h).ravel(),
            ])  # fmt: skip
        control = [
            c.rate, c.substeps, c.kp, c.ki, c.kd, c.kff, c.kdp, 2.0 * np.pi * c.dp_corner, c.delay * c.rate,
            float(c.feedback == "external"), s.displacement_noise, s.force_noise, s.displacement_step, s.force_step,
            s.displacement_drift, s.force_drift, s.displacement_walk, s.force_walk,
        ]  # fmt: skip
        geometry = self.geometry
        return RigArrays(
            np.array(rows, dtype=np.float64),
            np.array(control, dtype=np.float64),
            np.zeros((n, 17)),
            np.zeros((n, 9)),
            np.zeros((n, int(np.ceil(c.delay * c.rate)) + 4)),
            np.zeros(1, dtype=np.int64),
            np.zeros(n),
            np.zeros(n),
            np.zeros(n),
            np.zeros(0, dtype=np.int64) if geometry is None else geometry.codes,
            np.zeros((n, 5)) if geometry is None else geometry.pins,
            np.zeros(n),
            np.zeros((n, n)),
            np.zeros((n, 2 * n + 1)),
            np.zeros(n),
            np.zeros(n),
            np.zeros(n),
        )

    @property
    def arrays(self) -> tuple[RigArrays, Arrays, np.random.Generator]:
        """What the compiled functions of this file take."""
        return self._rig, self._net, self._rng

    @property
    def stiffness(self) -> np.ndarray:
        """Initial elastic stiffness of the specimen, (freedoms, freedoms)."""
        return self.network.stiffness

    @property
    def peaks(self) -> Peaks:
        """Extremes since the start."""
        return Peaks(*self._rig.extremes.T.copy())

    def plan(self, duration: float) -> tuple[int, int]:
        """Controller steps of a command and of its ramp."""
        ticks = max(1, round(duration * self.controller.rate))
        return ticks, (ticks if self.motion == "continuous" else max(1, round(self.ramp * ticks)))

    def apply(self, command: Command) -> Reading:
        if self.stopped:
            raise Refused(f"the rig has been stopped: {self.stopped}")
        target = np.ascontiguousarray(command.displacement, dtype=np.float64)
        ticks, ramp = self.plan(command.duration)
        averaged = min(self.averaged, ticks)
        if self.trace:
            self.last_trace = np.zeros((ticks, 3 * self.freedoms))
        smooth = self.motion == "ramp-and-hold"
        displacement, force = np.zeros(self.freedoms), np.zeros(self.freedoms)
        status = move(
            self._bench, target, ticks, ramp, smooth, averaged, self.last_trace, displacement, force
        )
        if status != OK:
            raise Frame2dError(
                f"the simulated rig has no answer to command {command.sequence}, {target.tolist()}"
            )
        self.ticks += ticks
        self.last_sequence = command.sequence
        self._reading = Reading(displacement, force)
        return self._reading

    def read(self) -> Reading:
        return self._reading

    def stop(self, reason: str) -> None:
        self.stopped = reason or "stop"

    def describe(self) -> dict[str, Any]:
        return {
            "specimen": "Rig",
            "network": self.network.describe(),
            "parts": described(*self.actuators, self.controller, self.sensors),
            "geometry": None if self.geometry is None else self.geometry.describe(),
            "motion": self.motion,
            "ramp": self.ramp,
            "averaged": self.averaged,
            "seed": self.seed,
        }
