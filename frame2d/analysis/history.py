"""Time history under ground acceleration, support motion and nodal force histories."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from frame2d.analysis.collapse import Stand, stands
from frame2d.analysis.damping import prepare
from frame2d.analysis.operators import marcher
from frame2d.analysis.outcome import Outcome
from frame2d.analysis.response import Response, new_log
from frame2d.analysis.runner import Options, finish, run_steps
from frame2d.analysis.schemes import FirstOrderAlpha, GeneralizedAlpha, Scheme, chung_hulbert
from frame2d.analysis.settle import set_out
from frame2d.engine.implicit import run
from frame2d.engine.plan import new_room
from frame2d.errors import InputError, finite, mapped, positive, series
from frame2d.model.state import begin_of

if TYPE_CHECKING:
    from frame2d.model.state import State
    from frame2d.model.system import System


#: Schemes that iterate to equilibrium at the end of a step; the others may lose their stability.
ITERATING = (GeneralizedAlpha, FirstOrderAlpha)
#: Most numbers that one response may hold (16 GB).
MOST_NUMBERS = 2_000_000_000
#: Ground acceleration (m/s²) from which units are wrong: about 20 g, four times the strongest that was recorded (common
#: practice, no source).
STRONGEST = 200.0
#: Step (s) from which it must be a fraction of the first period (common practice, no source).
LONGEST_STEP = 0.5


def resampled(values: np.ndarray, record_dt: float, dt: float, what: str) -> np.ndarray:
    """History at the analysis step, linear between samples; raises `InputError` for steps that do not fit."""
    samples = series(what, values)
    positive(f"{what}: dt", record_dt)
    positive("dt", dt)
    if dt > record_dt * (1.0 + 1e-9):
        raise InputError(
            f"dt is {dt:g} s; allowed: at most the step of {what}, {record_dt:g} s. Likely mistake: ms instead of s"
        )
    ratio = record_dt / dt
    if abs(ratio - round(ratio)) > 1e-6 * ratio:
        raise InputError(
            f"dt is {dt:g} s; allowed: the step of {what}, {record_dt:g} s, divided by a whole number, so that no "
            "peak is missed"
        )
    pieces = round(ratio)
    if pieces == 1:
        return samples
    return np.interp(np.arange((samples.size - 1) * pieces + 1) / pieces, np.arange(samples.size), samples)


def check_method(system: "System", scheme: Any, damping: Any) -> None:
    """Raise `InputError` for a frame without mass, and for what is no scheme or no damping."""
    if not np.any(system.plan.inertial > 0.0):
        raise InputError(
            f"frame {system.frame.name!r} has no mass; allowed: some. Likely mistake: masses were not added"
        )
    _ = system.rough_period
    if damping is not None and not hasattr(damping, "matrix"):
        raise InputError(
            f"damping is {damping!r}; allowed: Rayleigh(…), Modal(…), Caughey(…) or StiffnessMass(…)"
        )
    if not hasattr(scheme, "array"):
        raise InputError(f"scheme is {scheme!r}; allowed: one of frame2d.analysis.schemes, e.g. newmark()")


def time_history(
    system: "System",
    record: Any = None,
    state: "State | None" = None,
    *,
    factor: float = 1.0,
    dt: float | None = None,
    duration: float | None = None,
    forces: Mapping[tuple[str, str], np.ndarray] | None = None,
    support_motion: Mapping[tuple[str, str], np.ndarray] | None = None,
    scheme: Scheme | None = None,
    damping: Any = None,
    drift_limit: float | None = None,
    initial_velocity: Mapping[tuple[str, str], float] | None = None,
    initial_displacement: Mapping[tuple[str, str], float] | None = None,
    options: Options | None = None,
) -> Response:
    """Motion of the frame from `state` (at rest by default).

    `record` has `acceleration` (m/s²) and `dt` (s) and moves the ground horizontally, times `factor`; `forces` are
    nodal histories {(node, "ux"|"uy"|"rz"): N or N·m per step} and `support_motion` absolute displacements of supported
    freedoms (m, rad per step), both at the analysis step `dt`. Free vibration needs `duration`. `damping` is a
    `Rayleigh`, `Modal` or `Caughey`; `scheme` defaults to generalized-alpha with ρ∞ = 0.8
    (`frame2d.analysis.schemes` lists all). The run ends as collapsed when a storey drift ratio passes `drift_limit`,
    or when the loads of `state` are no longer held (`frame2d.analysis.collapse` says how that is decided).
    Raises `InputError` before, and `AnalysisError` (with the partial response) during the analysis.
    """
    begin = begin_of(system, state)
    method = chung_hulbert(0.8) if scheme is None else scheme
    tries = options or Options()
    check_method(system, method, damping)
    if record is not None and not (hasattr(record, "acceleration") and hasattr(record, "dt")):
        raise InputError(
            f"record is {record!r}; allowed: a Record, or anything with acceleration (m/s²) and dt (s). Likely mistake: "
            "the bare samples; write frame2d.motions.Record(samples, dt, name)"
        )
    finite("factor", factor)
    forces = mapped("forces", {} if forces is None else forces, "(node, component)")
    support_motion = mapped(
        "support_motion", {} if support_motion is None else support_motion, "(node, component)"
    )
    initial_velocity = mapped(
        "initial_velocity", {} if initial_velocity is None else initial_velocity, "(node, component)"
    )
    initial_displacement = mapped(
        "initial_displacement",
        {} if initial_displacement is None else initial_displacement,
        "(node, component)",
    )
    if drift_limit is not None:
        positive("drift_limit", drift_limit, hint="a ratio: 0.03 is 3 %")
    if dt is None:
        if record is None:
            raise InputError("dt is missing; allowed: a time step in s when there is no record")
        dt = positive("record: dt", record.dt)
    dt = positive("dt", dt)
    if record is not None and dt > LONGEST_STEP and dt > 2.0 * system.rough_period:
        raise InputError(
            f"dt is {dt:g} s; allowed: a fraction of the first period, which is about {system.rough_period:.3g} s. Likely "
            "mistake: ms instead of s"
        )
    ground = None
    if record is not None:
        name = f"record {getattr(record, 'name', '')!r}"
        ground = factor * resampled(record.acceleration, positive("record: dt", record.dt), dt, name)
        strongest = float(np.abs(ground).max())
        if strongest > STRONGEST:
            raise InputError(
                f"{name} times {factor:g} reaches {strongest:.4g} m/s²; allowed: up to {STRONGEST:g}. Likely mistake: cm/s² "
                "(gal) or mm/s² read as m/s²"
            )
    lengths = [
        series(f"history of {key}", values).size
        for group in (forces, support_motion)
        for key, values in group.items()
    ]
    if ground is not None:
        lengths.append(ground.size)
    if duration is not None:
        lengths.append(round(positive("duration", duration) / positive("dt", dt)) + 1)
    if not lengths:
        raise InputError(
            "nothing tells how long to run; allowed: a record, forces, support motion or duration"
        )
    rows = max(lengths)
    if rows * (3 * system.count + system.gather_all.shape[0]) > MOST_NUMBERS:
        raise InputError(
            f"the history has {rows:,} steps of {system.count} freedoms; allowed: up to {MOST_NUMBERS:,} numbers in all. "
            "Likely mistake: dt in ms read as s, or a duration in ms"
        )
    patterns, factors = [], []
    if ground is not None:
        patterns.append(-system.influence())
        factors.append(_padded(ground, rows))
    for (node, component), values in forces.items():
        checked = resampled(np.asarray(values), dt, dt, f"force on {node!r}")
        row = system.row(node, component)
        if not np.any(row):
            raise InputError(
                f"a force acts on {component} of node {node!r}, which is supported; allowed: a free displacement. Likely "
                "mistake: support_motion was meant"
            )
        patterns.append(row)
        factors.append(_padded(checked, rows))
    history = np.tile(begin.supports, (rows, 1))
    damped = prepare(system, damping, state)
    matrix, plan = damped.found, damped.plan
    extra: dict[str, Any] = {}
    if damped.coefficients_found is not None:
        extra["damping_coefficients"] = np.array(damped.coefficients_found)
    stepper = None
    if not isinstance(method, GeneralizedAlpha):
        stepper = marcher(method, system, matrix, dt)
        plan, matrix = stepper.plan, stepper.damping
    forces_end = len(patterns)
    if support_motion:
        for (node, component), values in support_motion.items():
            moved = resampled(np.asarray(values), dt, dt, f"motion of {node!r}")
            history[:, system.support_number(node, component)] = np.concatenate(
                [moved, np.full(rows - moved.size, moved[-1])]
            )
        velocity = np.gradient(history, dt, axis=0)
        acceleration = np.gradient(velocity, dt, axis=0)
        coupled = system.support_mass()
        for k in np.flatnonzero(np.ptp(history, axis=0) > 0.0):
            patterns.append(-coupled[:, k])
            factors.append(acceleration[:, k])
        extra["support_velocity"], extra["support_acceleration"] = velocity, acceleration
    linear = system.support_coupling()
    for k in np.flatnonzero(np.any(history != 0.0, axis=0)):
        patterns.append(-linear[:, k])
        factors.append(history[:, k])
    shapes = np.array(patterns).reshape(-1, system.count)
    drive = np.column_stack(factors) if factors else np.zeros((rows, 0))
    room = new_room(plan)
    motion = begin.copy_motion()
    motion.v[:] = 0.0 if state is None else motion.v
    motion.account[:] = 0.0
    motion.work[:] = 0.0
    for (node, component), value in initial_velocity.items():
        number = system.free_number(node, component)
        if system.plan.inertial[number] == 0.0:
            raise InputError(
                f"{component} of node {node!r} has no mass and follows the others at once; allowed: a velocity where there "
                "is mass. Likely mistake: a rotary inertia or a mass was not added"
            )
        motion.v[number] = finite(f"velocity of {node!r}", value)
    for (node, component), value in initial_displacement.items():
        motion.q[system.free_number(node, component)] = finite(f"displacement of {node!r}", value)
    set_out(
        system,
        plan,
        room,
        motion,
        begin.load + drive[0] @ shapes,
        matrix,
        history[0],
        bool(initial_displacement),
    )
    if stepper is not None:
        motion = stepper.begin(motion)
    peak = np.abs(drive).max(axis=0) @ np.abs(shapes) if factors else np.zeros(system.count)
    reference = system.force_scale(peak + np.abs(begin.load) + np.abs(motion.f))
    log = new_log(system, rows)
    watch = system.drift_watch(drift_limit) if drift_limit is not None else None

    def standing(reached: Any, row: int) -> Stand:
        whole = reached if stepper is None else stepper.end(reached)
        return stands(system, whole, begin.load, history[row - 1])

    done, outcome, criterion = run_steps(
        system, plan, room, motion, begin.load, shapes, drive, history, dt, rows - 1, method.array(), tries, reference,
        log, watch, start=begin, march=stepper.run if stepper else run,
        standing=standing if np.any(begin.load) else None,
        carried=(stepper.operator.carry, stepper.operator.work) if stepper else (),
        conditional=not isinstance(method, ITERATING),
    )  # fmt: skip
    if stepper is not None:
        motion = stepper.end(motion)
    extra |= {
        "ground": ground[:done] if ground is not None else None,
        "influence": system.influence(),
        "patterns": shapes,
        "factors": drive[:done],
        "forces": forces_end,
        "base": begin.load,
        "scheme": method.name,
        "dt": dt,
        "damping": matrix,
        "drift_limit": drift_limit,
        "criterion": criterion,
    }
    return finish(
        system, begin, motion, room, log, done, outcome, "time history", begin.time + dt * np.arange(rows), begin.load,
        history, extra, plan,
    )  # fmt: skip


def _padded(values: np.ndarray, rows: int) -> np.ndarray:
    return np.concatenate([values, np.zeros(rows - values.size)])


__all__ = ["Outcome", "time_history"]
