"""The demo's laboratory, invented: the first storey's brace with its pin is tested, all the rest is computed.

One actuator of 1 MN pushes along the brace. The cut is exact: the brace meets the frame in two displacements, of which
only the elongation does work, so that nothing is released and no force is lost. `demo_test` makes a test against any
specimen, `demo_rehearsal` rehearses it on simulated rigs in this process and in another one. `laws` are those of the
frame's devices (by their dimensions, or fitted), `actual` what the tested pin really is.
"""

import json
import os
import secrets
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from frame2d.analysis import Response, StiffnessMass, modes, static, time_history
from frame2d.analysis.damping import rayleigh_coefficients
from frame2d.analysis.runner import Options
from frame2d.campaign.whole import whole_response
from frame2d.compare import nrmse, peak_error
from frame2d.demo.building import demo_frame
from frame2d.demo.component_tests import specimen_pin
from frame2d.demo.skeleton import NOMINAL, Laws
from frame2d.errors import Frame2dError, InputError
from frame2d.hybrid import (
    CHECKS,
    Actuator,
    Checks,
    Command,
    Controller,
    Declared,
    FrameSolver,
    FrameSpecimen,
    HybridTest,
    Limits,
    LinearlyImplicit,
    Model,
    Network,
    Operator,
    Outcome,
    Progress,
    Remote,
    Rig,
    Sensors,
    Specimen,
    Table,
    Unattended,
    computed_state,
    condensed_network,
    polynomial,
)
from frame2d.hybrid.actuator import loop_lag
from frame2d.hybrid.deadline import Timing, empty_loop, paced_run, timing
from frame2d.hybrid.rehearsal import Rehearsal
from frame2d.hybrid.rehearse_split import rehearse_split
from frame2d.hybrid.scatter import Spreads
from frame2d.materials import Series
from frame2d.materials.law import Law
from frame2d.model.state import State
from frame2d.motions.record import Record
from frame2d.substructure import Split, split
from frame2d.written import folder_at

#: The tested member, and the time scale and step of the demo's test.
TESTED, TIME_SCALE, DT = "pin 1", 50.0, 0.005
SCHEME = LinearlyImplicit(0.8)
#: The operator is stiffer than the virgin brace by this share, for the scatter of its stiffness.
MARGIN = 0.1


@cache
def demo_split(laws: Laws = NOMINAL) -> Split:
    """The demo frame with its first-storey brace and pin cut out."""
    return split(demo_frame(laws), [TESTED])


@cache
def along_brace() -> np.ndarray:
    """Row (1, interface freedoms): elongation of the brace from the displacements of its upper end."""
    parts = demo_split()
    placed = parts.whole.members[TESTED]
    low, high = parts.whole.nodes[placed.i], parts.whole.nodes[placed.j]
    run, rise = high.x - low.x, high.y - low.y
    weights = {(high.name, "ux"): run, (high.name, "uy"): rise}
    return np.array([[weights[freedom] for freedom in parts.interface]]) / np.hypot(run, rise)


@cache
def standing(laws: Laws = NOMINAL) -> State:
    """The whole frame under gravity."""
    return static(demo_split(laws).whole_system, options=Options(tolerance=1e-11)).state


@cache
def demo_damping(laws: Laws = NOMINAL) -> StiffnessMass:
    """3 % in modes 1 and 3 of the whole frame, drawn by mass and elastic members."""
    omega = modes(demo_split(laws).whole_system, standing(laws), 3).omega
    return StiffnessMass(*rayleigh_coefficients(0.03, omega[0], 0.03, omega[2]))


def demo_specimen(state: State | None = None, laws: Laws = NOMINAL) -> FrameSpecimen:
    """The tested brace as a model in this process, virgin or as in `state` of the whole frame."""
    return FrameSpecimen.of(demo_split(laws), state or standing(laws), along_brace())


@cache
def _virgin_network(laws: Laws = NOMINAL) -> Network:
    return condensed_network(demo_specimen(None, laws))


def demo_network(
    strength: float = 1.0, state: State | None = None, laws: Laws = NOMINAL, actual: Law | None = None
) -> Network:
    """The tested brace for the simulated rig (exact), its pin `strength` times as strong as the design's.

    `actual`: law of the pin as the specimen really has it, where that is not the design's.
    """
    made = _virgin_network(laws) if state is None else condensed_network(demo_specimen(state, laws))
    if strength == 1.0 and actual is None:
        return made
    pin, brace = made.laws[0].laws  # type: ignore[attr-defined]
    own: Any = actual or pin
    law = Series((replace(own, Fy=strength * own.Fy), brace))
    options = {"offsets": made.offsets, "memories": made.memories}
    stronger = Network([(law, made.rows[0].tolist())], 1, 0, constant=np.zeros(1), **options)  # type: ignore[arg-type]
    # The channel is zeroed at the start.
    return Network([(law, made.rows[0].tolist())], 1, 0, constant=-Model(stronger).at_zero(), **options)  # type: ignore[arg-type]


def demo_actuator() -> Actuator:
    """A 1 MN actuator with its reaction wall; typical values, invented for this demo."""
    return Actuator()


def demo_controller(delay: float = 0.004, laws: Laws = NOMINAL) -> Controller:
    """Its controller: velocity fed forward for a specimen half as stiff as the virgin brace, commands `delay` s late.

    Tuned by hand on the model, as a laboratory would: lag against the virgin brace and against a yielded one differ by
    as little in either direction.
    """
    plain = Controller(kp=600.0, kdp=5e-8)
    half = 0.5 * float(_declared(laws).credible[0, 0])
    fed = plain.kp * (loop_lag(demo_actuator(), plain, half) + 1.0 / plain.rate)
    return replace(plain, kff=fed, delay=delay)


def demo_rig(
    strength: float = 1.0,
    delay: float = 0.004,
    noise: float = 1.0,
    seed: int = 0,
    state: State | None = None,
    laws: Laws = NOMINAL,
    actual: Law | None = None,
) -> Rig:
    """The simulated rig around the tested brace. `noise` multiplies that of typical sensors."""
    sensors = Sensors.typical()
    sensors = replace(
        sensors,
        displacement_noise=noise * sensors.displacement_noise,
        force_noise=noise * sensors.force_noise,
    )
    return Rig(
        demo_network(strength, state, laws, actual),
        demo_actuator(),
        demo_controller(delay, laws),
        sensors,
        seed=seed,
    )


def demo_limits() -> Limits:
    """Limits of the demo's test; force and stroke within 85 % of the actuator's (common practice)."""
    return Limits(
        stroke=(-0.12, 0.12), force=8e5, velocity=0.05, step=0.01, tracking=0.0015, flat_force=0, unload_velocity=2e-3
    )  # fmt: skip


def demo_table() -> Table:
    """What the guard does on each trigger: the defaults."""
    return Table()


@cache
def _declared(laws: Laws = NOMINAL) -> Declared:
    return demo_specimen(None, laws).declared(MARGIN)


def demo_solver(
    record: Any,
    factor: float = 1.0,
    state: State | None = None,
    *,
    dt: float = DT,
    time_scale: float = TIME_SCALE,
    scheme: Any = SCHEME,
    history: bool = True,
    laws: Laws = NOMINAL,
) -> FrameSolver:
    """The computed part under `record` times `factor`, from the whole frame's `state` (gravity by default)."""
    parts = demo_split(laws)
    begin = computed_state(parts, state or standing(laws))
    return FrameSolver(
        parts, along_brace(), _declared(laws), scheme, record, factor=factor, dt=dt, state=begin, damping=demo_damping(laws),
        time_scale=time_scale, history=history,
    )  # fmt: skip


def demo_lag(laws: Laws = NOMINAL) -> float:
    """Lag of the rig behind a slow command, by its closed form, s."""
    stiffness = float(_declared(laws).credible[0, 0])
    return loop_lag(demo_actuator(), demo_controller(laws=laws), stiffness)


def demo_test(
    record: Any,
    factor: float = 1.0,
    specimen: Any = None,
    state: State | None = None,
    *,
    operator: Operator | None = None,
    journal: str | Path | None = None,
    mode: str = "durable",
    may_lose: int = 0,
    views: tuple[Callable[[Progress], None], ...] = (),
    time_scale: float = TIME_SCALE,
    dt: float = DT,
    laws: Laws = NOMINAL,
    actual: Law | None = None,
) -> HybridTest:
    """The demo's hybrid test of one limit state against `specimen` (a simulated rig by default).

    `state`: of the whole frame, where the test begins. Without an `operator` nobody is asked: for models only.
    """
    lag = max(demo_lag(laws), 0.0) / time_scale
    solver = demo_solver(record, factor, state, dt=dt, time_scale=time_scale, laws=laws)
    return HybridTest(
        solver.fresh,
        demo_rig(state=state, laws=laws, actual=actual) if specimen is None else specimen,
        demo_limits(), operator or Unattended(True), journal, demo_table(), stiffness=_declared(laws).credible,
        time_scale=time_scale, make_compensation=lambda: polynomial(2, lag, dt), views=views, mode=mode,
        may_lose=may_lose,
    )  # fmt: skip


def demo_hybrid(
    system: Any,
    record: Record,
    state: State | None = None,
    *,
    factor: float = 1.0,
    specimen: Any = None,
    time_scale: float = TIME_SCALE,
    views: tuple[Callable[[Progress], None], ...] = (),
    laws: Laws = NOMINAL,
) -> Response:
    """A whole hybrid test in the place of `time_history`: from a state of the whole frame to its `Response`.

    On a simulated rig around the tested brace as it is in `state` (its damage of earlier tests, or new), or on
    `specimen`. Raises `Frame2dError` if the guard ends it.
    """
    if list(system.pieces) != list(demo_split(laws).whole_system.pieces):
        raise InputError("the system is another frame; allowed: the demo's")
    begin = state or standing(laws)
    test = demo_test(
        record, factor, specimen, begin, time_scale=time_scale, views=views, laws=laws,
    )  # fmt: skip
    try:
        outcome = test.run(CHECKS)
    finally:
        test.close()
    if outcome.ending != "completed":
        raise Frame2dError(f"the test was {outcome.ending} at step {outcome.step}: {outcome.events}")
    solver: Any = test.solver
    return whole_response(demo_split(laws), begin, solver.response(), outcome.displacement, along_brace())


def demo_reference(
    record: Record, factor: float = 1.0, state: State | None = None, laws: Laws = NOMINAL
) -> Response:
    """The whole frame, all computed, by the iterating scheme: what the test is compared with."""
    return time_history(
        demo_split(laws).whole_system,
        record,
        state or standing(laws),
        factor=factor,
        damping=demo_damping(laws),
    )


def served_rig(seed: int = 11) -> tuple[Specimen, Limits, Table]:
    """What `frame2d specimen` serves by default: the demo's simulated rig with its limits and table.

    Its pin is what the invented device really is, not what its design says.
    """
    rig, twin = (demo_rig(seed=seed, actual=specimen_pin()) for _ in range(2))
    # Compiled before anybody listens: with a cold cache the first command would look like a lost link.
    twin.apply(Command(1, np.zeros(1), 1.0))
    twin.read()
    # On its side the energy error is weighed against the specimen's work alone, which small motions keep small.
    return (
        rig,
        replace(demo_limits(), energy=0.2, energy_warning=0.1),
        demo_table(),
    )


@contextmanager
def rig_elsewhere(folder: Path, *, secret: str | None = None, patience: float = 600.0) -> Iterator[Remote]:
    """The demo's simulated rig in a second process on loopback, connected; it ends with the context."""
    import frame2d

    ready = folder / "specimen.address"
    ready.unlink(missing_ok=True)
    command = [sys.executable, "-m", "frame2d.cli", "specimen", "--ready", str(ready)]
    root = str(Path(frame2d.__file__).resolve().parents[1])
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join([root, os.environ.get("PYTHONPATH", "")])}
    if secret is not None:
        environment["FRAME2D_SECRET"] = secret
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL)
    try:
        limit = time.monotonic() + patience
        while not ready.exists():
            if process.poll() is not None or time.monotonic() > limit:
                raise Frame2dError("the specimen's process did not start")
            time.sleep(0.02)
        address = json.loads(ready.read_text())
        remote = Remote(address["host"], address["port"], secret, patience=30.0)
        try:
            yield remote
        finally:
            remote.close()
    finally:
        process.terminate()
        process.wait(30)


def rehearse_demo(
    record: Record,
    factor: float = 1.0,
    runs: int = 200,
    *,
    state: State | None = None,
    time_scale: float = TIME_SCALE,
    threads: int = 2,
    reference: Response | None = None,
    laws: Laws = NOMINAL,
    progress: bool = False,
) -> Rehearsal:
    """Monte Carlo of the demo's test on simulated rigs: strength ±20 %, delay 2 to 8 ms, noise 0.5 to 2 times, seeds."""
    whole = demo_reference(record, factor, state, laws) if reference is None else reference
    return rehearse_split(
        demo_split(laws), record, demo_rig(state=state, laws=laws), demo_limits(), along=along_brace(),
        declared=_declared(laws), scheme=SCHEME, state=state or standing(laws), damping=demo_damping(laws), factor=factor,
        dt=DT, time_scale=time_scale, spreads=Spreads(strength=(0.8, 1.2), delay=(0.002, 0.008), noise=(0.5, 2.0)),
        runs=runs, reference=whole, watch=_roof, threads=threads, progress=progress,
    )  # fmt: skip


def _roof(response: Response) -> np.ndarray:
    return response.floor(response.system.frame.levels()[-1][0])


def demo_rehearsal(
    record: Record,
    factor: float = 1.0,
    runs: int = 12,
    *,
    state: State | None = None,
    time_scale: float = TIME_SCALE,
    paced: float = 1.0,
    views: tuple[Callable[[Progress], None], ...] = (),
    folder: str | Path | None = None,
    echo: Callable[[str], None] = lambda text: None,
    laws: Laws = NOMINAL,
    progress: bool = False,
) -> dict[str, Any]:
    """Rehearse one limit state: Monte Carlo here, then the whole test with its checks on a rig in another process.

    `paced`: seconds of steps at 1024 Hz for the deadline figures (0: none). Returns plain numbers and words.
    """
    if runs < 1:
        raise InputError(f"runs of the rehearsal is {runs!r}; allowed: 1 or more")
    reference = demo_reference(record, factor, state, laws)
    many = rehearse_demo(
        record, factor, runs, state=state, time_scale=time_scale, reference=reference, laws=laws, progress=progress,
    )  # fmt: skip
    for line in many.words:
        echo(line)
    with tempfile.TemporaryDirectory() as own:
        place = Path(own) if folder is None else Path(folder)
        folder_at(place)
        with rig_elsewhere(place, secret=secrets.token_hex(16)) as remote:
            remote_figures = _remote(record, factor, remote, place, state, time_scale, reference, views, laws)
    result = {
        "invented": True,
        "split": demo_split(laws).summary(),
        "limits": demo_table().text(demo_limits()),
        "rehearsal": many.plain(),
        "remote_test": remote_figures,
    }
    if paced > 0.0:
        before = empty_loop(1024.0, min(paced, 2.0))
        run = paced_test(record, paced, state, laws)
        result["deadline"] = {"test": run.plain(), "empty_loop_before": before.plain()}
    return result


def _remote(
    record: Record, factor: float, remote: Remote, place: Path, state: State | None, time_scale: float,
    reference: Response, views: tuple[Callable[[Progress], None], ...], laws: Laws,
) -> dict[str, Any]:  # fmt: skip
    """Checks, then the main run on the remote rig; indices, guard margins, step times."""
    largest: dict[str, float] = {}

    def note(progress: Progress) -> None:
        for name, share in progress.shares.items():
            largest[name] = max(largest.get(name, 0.0), float(share))

    journal = place / "rehearsal.db"
    for suffix in ("", "-wal", "-shm"):
        Path(f"{journal}{suffix}").unlink(missing_ok=True)
    test = demo_test(
        record, factor, remote, state, journal=journal, mode="batched", may_lose=256, views=(note, *views),
        time_scale=time_scale, laws=laws,
    )  # fmt: skip
    try:
        checks = Checks(test, 0.0008, 1.0).all(
            np.atleast_2d(_declared(laws).operator),
            lag=demo_lag(laws),
            lag_bound=0.004,
            model=_declared(laws).credible,
        )
        for result in checks:
            if not result.ok:
                raise Frame2dError(
                    f"check {result.check!r} before the test: {result.text}; bound {result.bound:g}"
                )
        outcome: Outcome = test.run()
    finally:
        test.close()
    solver: Any = test.solver
    figures = timing(outcome.step_time, outcome.lateness, time_scale * DT)
    return {
        "ending": outcome.ending,
        "steps": outcome.step,
        "checks": {result.check: {"ok": result.ok, "text": result.text} for result in checks},
        "indices": indices(_roof(reference), _roof(solver.response())),
        "guard_shares": largest,
        "largest_energy_error": float(np.abs(outcome.energy_error).max()),
        "events": [event.plain() for event in outcome.events],
        "step_time_s": {"p50": figures.p50, "p99": figures.p99, "p999": figures.p999, "max": figures.most},
        "missed_deadlines": figures.missed,
        "journal_waits": outcome.journal_waits,
    }


def indices(reference: np.ndarray, compared: np.ndarray) -> dict[str, float]:
    """Error indices of the roof's displacement against the reference."""
    n = min(reference.size, compared.size)
    x, y = reference[:n], compared[:n]
    return {
        "roof_nrmse_of_range": float(nrmse(x, y, "range").value),
        "roof_peak_error": float(peak_error(x, y)),
        "roof_residual_difference_m": float(y[-1] - x[-1]),
    }


def paced_test(record: Record, seconds: float, state: State | None = None, laws: Laws = NOMINAL) -> Timing:
    """Deadline figures of the demo split paced at 1024 Hz against the rig in this process, journal on (batched)."""
    dt = 1.0 / 1024.0
    motion = small_motion(record, dt, round(seconds / dt))
    solver = demo_solver(motion, 1.0, state, dt=dt, time_scale=1.0, history=False, laws=laws)
    figures, outcome = paced_run(solver.fresh, real_time_rig(state, laws), wide_limits())
    if outcome.ending != "completed":
        raise Frame2dError(f"the paced test ended as {outcome.ending}: {outcome.events}")
    return figures


def real_time_rig(state: State | None = None, laws: Laws = NOMINAL) -> Rig:
    """The rig with its lag tuned away at low frequency, for small motions in real time."""
    actuator, stiffness = demo_actuator(), float(_declared(laws).credible[0, 0])
    plain = Controller()
    fed = plain.kp * loop_lag(actuator, plain, stiffness)
    controller = Controller(kff=max(0.0, fed))
    return Rig(demo_network(1.0, state, laws), actuator, controller, Sensors.typical(), seed=5)


def small_motion(record: Record, dt: float, steps: int, peak: float = 0.02) -> Record:
    """The record scaled to `peak` (m/s²) and repeated, at another step: so small that the rig follows in real time."""
    times = np.arange(steps + 1) * dt
    own = np.arange(record.acceleration.size) * record.dt
    values = np.interp(np.mod(times, own[-1]), own, record.acceleration)
    scale = peak / float(np.abs(values).max())
    return Record(scale * values, dt, f"{record.name}, small and repeated", synthetic=record.synthetic)


def wide_limits() -> Limits:
    """Limits of a run whose point is its timing."""
    return Limits(
        (-0.2, 0.2), 1e6, 1.0, 0.05, 0.1, energy=1e6, energy_warning=1e5, flat_force=0, flat_displacement=0
    )


__all__ = [
    "along_brace", "demo_hybrid", "demo_limits", "demo_reference", "demo_rehearsal", "demo_rig", "demo_solver", "demo_specimen",
    "demo_split", "demo_table", "demo_test", "indices", "paced_test", "rehearse_demo", "rig_elsewhere", "served_rig",
    "standing",
]  # fmt: skip
