"""Conduct a hybrid test: predict, journal, command, measure, correct; step by step, and again after an interruption."""

import contextlib
import json
import time
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np

from frame2d.errors import InputError, positive, within
from frame2d.hybrid.caution import CAUTION
from frame2d.hybrid.compensation import Compensator, uncompensated
from frame2d.hybrid.computed import Solver
from frame2d.hybrid.guard import Guarded, Tripped
from frame2d.hybrid.interrupt import WORDS, stops_on_interrupt
from frame2d.hybrid.journal import Journal, JournalError, rows
from frame2d.hybrid.ladder import Ladder, far_table, kept_alive
from frame2d.hybrid.limits import Action, Event, Limits, Table
from frame2d.hybrid.operator import Operator
from frame2d.hybrid.outcome import Histories, NotReady, Outcome, Progress
from frame2d.hybrid.pace import undisturbed, wait_until
from frame2d.hybrid.resume import recover
from frame2d.hybrid.specimen import Command, Reading, Refused, Specimen, as_specimen
from frame2d.hybrid.twin import Twin
from frame2d.hybrid.wire import digest

CHECKS = ("zero and sign", "tare", "stiffness", "lag", "low level")
#: The journal was not spoken of.
_UNSAID: Any = "unsaid"


class HybridTest:
    """One test: `make_solver(scale)` returns a fresh `Solver` for the motion times `scale`.

    `limits`, `table`: the guard's on the solver's side. `stiffness`: the largest credible stiffness of the specimen,
    (freedoms, freedoms), for unloading. `make_compensation()` returns a fresh compensator. `transfer`: stiffness by
    which a measured force is carried from where the rig is to where it should be (initial-stiffness correction,
    Nakashima & Kato 1987, from memory; None: off). `views` are called with a `Progress` after each step. `pace`:
    seconds between steps of a test against the clock (None: as fast as the specimen answers). A test runs once.
    `journal`: its file; may be left out for a model that can be repeated, and is left out of any other specimen's test
    only by saying None. The specimen must stand where the solver starts, within `resume_tolerance` (m or rad).
    """

    def __init__(
        self,
        make_solver: Callable[[float], Solver],
        specimen: Any,
        limits: Limits,
        operator: Operator,
        journal: str | Path | None = _UNSAID,
        table: Table | None = None,
        stiffness: np.ndarray | None = None,
        time_scale: float = 1.0,
        make_compensation: Callable[[], Compensator] | None = None,
        transfer: np.ndarray | None = None,
        views: tuple[Callable[[Progress], None], ...] = (),
        pace: float | None = None,
        mode: str = "durable",
        may_lose: int = 0,
        resume_tolerance: float = 1e-4,
        force_tolerance: float = 0.02,
    ) -> None:
        self.make_solver, self.operator, self.limits = make_solver, operator, limits
        if not callable(make_solver):
            raise InputError(
                f"make_solver is a {type(make_solver).__name__}; allowed: a function scale → fresh Solver. Likely mistake: "
                "a solver was handed over instead of what makes it (FrameSolver has `fresh`)"
            )
        first = make_solver(1.0)
        self.freedoms, self.dt = first.freedoms, first.dt
        self.specimen: Specimen = as_specimen(specimen, first.freedoms)
        if self.specimen.freedoms != first.freedoms:
            raise InputError(
                f"the specimen has {self.specimen.freedoms} interface freedoms; allowed: {first.freedoms}, as the solver"
            )
        self.table = table or Table()
        self.time_scale = within("time scale", time_scale, 1.0, 1e6)
        self.duration = self.time_scale * first.dt
        self.make_compensation = make_compensation or (lambda: uncompensated(self.freedoms))
        self.transfer = None if transfer is None else np.atleast_2d(np.asarray(transfer, dtype=np.float64))
        if self.transfer is not None and self.transfer.shape != (self.freedoms,) * 2:
            raise InputError(f"transfer has shape {self.transfer.shape}; allowed: {(self.freedoms,) * 2}")
        self.views, self.pace = tuple(views), None if pace is None else positive("pace", pace)
        self.journal_path = self._journal_path(journal, mode)
        self.mode, self.may_lose = mode, may_lose
        self.resume_tolerance = positive("resume tolerance", resume_tolerance)
        self.force_tolerance = positive("force tolerance", force_tolerance)
        self.guard = Guarded(self.specimen, limits, self.table, stiffness, "solver", watch=self._heard)
        self.guard.moves = lambda command: self._motion("unloading", command, suppress=True)
        self.journal: Journal | None = None
        self.tare = np.zeros(self.freedoms)
        self.step = 0
        self._started = False
        #: Goes the same way while a paced test waits.
        self.twin: Twin | None = None
        #: The solver of the run that is under way or over.
        self.solver: Solver = first
        about = [
            first.describe(),
            self.make_compensation().describe(),
            self.time_scale,
            _plain(self.transfer),
        ]
        self.identity = sha256(json.dumps(about, sort_keys=True).encode()).hexdigest()
        self.about = about
        self._passed: set[str] = set()
        operator.tell(CAUTION)
        operator.tell(WORDS)
        if self.journal_path is None:
            operator.tell("No journal: an interrupted test cannot be resumed, and nothing of it is kept.")

    # Journal

    def _journal_path(self, journal: str | Path | None, mode: str) -> Path | None:
        if journal is _UNSAID and not self.specimen.replayable:
            raise InputError(
                f"journal is not given, and {type(self.specimen).__name__} cannot be repeated; allowed: a file, or "
                "journal=None to keep nothing of the test"
            )
        if journal is not _UNSAID and journal is not None:
            return Path(journal)
        if mode != "durable":
            raise InputError(f"mode is {mode!r} without a journal; allowed: journal=FILE with it")
        return None

    def open(self) -> None:
        """Open the journal and look where the specimen stands (done by the first check and by `run`).

        Goes on with the journal of a test that never came to its start. Raises `NotReady` if the specimen is elsewhere
        than where the solver starts.
        """
        if self._started:
            raise NotReady("this test was run before; allowed: resume it, or make a new test")
        reading = self.guard.meet()
        gap = float(np.abs(reading.displacement - self.solver.origin).max())
        if gap > self.resume_tolerance:
            raise NotReady(
                f"the specimen stands at {reading.displacement.tolist()} with force {reading.force.tolist()}, the solver "
                f"starts at {self.solver.origin.tolist()}; allowed: within {self.resume_tolerance:g}. Zero the channels "
                "there, or bring it to the start with `approach`"
            )
        if self.journal is None and self.journal_path is not None:
            self.journal = self._new_journal(self.journal_path)

    def _new_journal(self, path: Path) -> Journal:
        known = rows(path) if path.exists() else []
        unstarted = bool(known) and known[0].kind == "test" and known[0].body["identity"] == self.identity
        unstarted = unstarted and all(row.kind != "start" for row in known)
        journal = Journal(path, self.mode, self.may_lose, resume=unstarted)
        journal.write("test again" if unstarted else "test", 0, {
            "identity": self.identity, "about": self.about, "session": self.guard.session,
            "specimen": self.specimen.describe(), "operator": self.operator.name,
        })  # fmt: skip
        return journal

    def _motion(self, why: str, command: Command, suppress: bool = False) -> None:
        """Line of a command that is no step of the test, before it leaves; `start`: the reading before it."""
        here = self.guard.reading_now
        body = {
            "why": why, "sequence": command.sequence, "u": command.displacement.tolist(), "t": command.duration,
            "start": {"u": here.displacement.tolist(), "f": here.force.tolist()},
        }  # fmt: skip
        with contextlib.suppress(*([JournalError] if suppress else [])):
            self.note("motion", body)

    def note(self, kind: str, body: dict[str, Any]) -> None:
        """Write a line into the journal, if there is one."""
        if self.journal is not None:
            self.journal.write(kind, self.step, body)

    def _heard(self, event: Event) -> None:
        with contextlib.suppress(JournalError):
            self.note("event", event.plain())

    def close(self) -> None:
        """Close journal and specimen."""
        if self.journal is not None:
            self.journal.close()
        self.guard.close()

    # Before

    def passed(self, check: str, body: dict[str, Any]) -> None:
        """Note a pre-test check that stayed within its bound."""
        self._passed.add(check)
        self.note("check", {"check": check, **body})

    def _ready(self, override: tuple[str, ...]) -> None:
        unknown = set(override) - set(CHECKS)
        if unknown:
            raise InputError(f"override names {sorted(unknown)}; allowed: {', '.join(CHECKS)}")
        missing = [check for check in CHECKS if check not in self._passed and check not in override]
        if missing:
            raise NotReady(
                f"checks not passed: {', '.join(missing)}. Allowed: run them (frame2d.hybrid.checks), or name them in "
                "override, which the journal records"
            )
        for check in override:
            self.note("override", {"check": check, "operator": self.operator.name})
        text, far = self.tables()
        if not self.confirmed(text):
            raise NotReady("the operator did not confirm the table of limits and actions: nothing moves")
        table = {"table": self.table.digest(self.limits), "specimen's table": far and digest(far)}
        self.note("confirmed", {**table, "operator": self.operator.name})

    def tables(self) -> tuple[str, str]:
        """What the operator confirms, both sides' tables, and the specimen's alone (empty without a guard there)."""
        own, far = self.table.text(self.limits), far_table(self.specimen)
        return (f"{own}\n\nOn the specimen's side:\n{far}" if far else own), far

    def confirmed(self, question: str) -> bool:
        with self.waiting():
            return self.operator.confirm(question)

    def waiting(self) -> contextlib.AbstractContextManager[None]:
        """While a person thinks: keeps the specimen's side from taking the silence for a lost solver."""
        return kept_alive(self.guard, self.operator.tell)

    # Running

    def run(self, override: tuple[str, ...] = ()) -> Outcome:
        """Run the test from its start; `override` names checks that were left out on purpose."""
        self.open()
        if self.guard.state != "ready":
            raise NotReady(f"the guard is {self.guard.state}: {self.guard.events[-1]}. Nothing moves")
        self._ready(tuple(override))
        here, first = self.guard.reading_now, self.guard.last_sequence + 1
        self.note("start", {
            "first": first, "tare": self.tare.tolist(), "session": self.guard.session,
            "u": here.displacement.tolist(), "f": here.force.tolist(),
        })  # fmt: skip
        self._started = True
        self.solver = self.make_solver(1.0)
        self.guard.begin(self.solver.origin, here)
        return self._safely(self.solver, self.compensation(self.solver), Histories(self.solver))

    def compensation(self, solver: Solver) -> Compensator:
        """A fresh compensator, at rest where `solver` starts."""
        made = self.make_compensation()
        made.begin(solver.origin)
        return made

    def low_level(self, scale: float) -> Outcome:
        """Run the whole motion times `scale`; the journal has its commands, but no steps."""
        solver = self.make_solver(within("scale of the low-level run", scale, 0.0, 0.5, open_low=True))
        self.guard.begin(solver.origin, self.guard.read())
        try:
            return self._safely(solver, self.compensation(solver), Histories(solver), quiet=True)
        finally:
            self.step = 0
            self.guard.target = self.guard.energies = None

    def approach(self, duration: float = 1.0) -> Reading:
        """Bring the specimen to where the solver starts, in small motions of `duration` s, once the operator confirms.

        For a rig that an interruption of the checks left a little away. Raises `Tripped`, `NotReady`.
        """
        guard, here = self.guard, self.guard.meet()
        if self._started:
            raise NotReady("this test was run before: its start is over")
        if not self.confirmed(
            f"The specimen stands at {here.displacement.tolist()} with force {here.force.tolist()}. Move it to "
            f"{self.solver.origin.tolist()}? {self.tables()[0]}"
        ):
            raise NotReady("the operator did not confirm: nothing moves")
        with stops_on_interrupt(guard.operator_stop):
            return self.return_to(self.solver.origin, duration, "approach")

    def return_to(self, place: np.ndarray, duration: float, why: str) -> Reading:
        """Move to `place` in steps of half of what may leave; the reading there."""
        here, bounds = self.guard.command_now, self.guard.bounds
        longest = 0.5 * np.minimum(bounds.step, bounds.velocity * duration)
        count = max(1, int(np.ceil((np.abs(here - place) / longest).max())))
        for share in np.linspace(0.0, 1.0, count + 1)[1:]:
            self.move(here + share * (place - here), duration, why)
        return self.guard.reading_now

    def move(self, displacement: np.ndarray, duration: float, why: str) -> Reading:
        """One journalled motion that is no step of the test."""
        command = Command(self.guard.last_sequence + 1, displacement, duration)
        self._motion(why, command)
        return self.guard.apply(command)

    def resume(self) -> Outcome:
        """Go on with the journalled test after an interruption.

        Refuses (`NotReady`, `JournalError`) if the journal belongs to another test, the specimen lost its memory, its
        position or force differs from the journal, or the operator does not confirm.
        """
        if self.journal_path is None:
            raise InputError("this test has no journal; allowed: the journal of the interrupted test")
        if self.guard.state not in ("ready", "held"):
            raise NotReady(
                f"the guard is {self.guard.state}: {self.guard.events[-1]}. Inspect, and make a new test"
            )
        if self.journal is not None:
            self.journal.close()
        self.guard.meet()
        self.journal = Journal(self.journal_path, self.mode, self.may_lose, resume=True)
        try:
            solver, compensation, histories, first = recover(self, self.journal_path)
        except BaseException:
            self.journal.close()
            self.journal = None
            raise
        self._started = True
        self.guard.release(True)
        return self._safely(solver, compensation, histories, first=first)

    def finish(
        self, solver: Solver, compensation: Compensator, histories: Histories, step: int, target: np.ndarray,
        command: np.ndarray, reading: Reading,
    ) -> None:  # fmt: skip
        compensation.measured(reading.displacement)
        solver.correct(self.carried(target, reading))
        histories.add(step, target, command, reading, self.guard.monitor.ratio)

    def carried(self, target: np.ndarray, reading: Reading) -> np.ndarray:
        """Force for the solver: without the tare, and carried from where the rig is to where it should be."""
        force = reading.force - self.tare
        if self.transfer is not None:
            force = force + self.transfer @ (target - reading.displacement)
        return force

    def _safely(
        self, solver: Solver, compensation: Compensator, histories: Histories, quiet: bool = False,
        first: int | None = None,
    ) -> Outcome:  # fmt: skip
        """`_steps`, in which Ctrl-C is the operator's stop; whatever breaks off leaves the rig held, and a last line."""
        with stops_on_interrupt(self.guard.operator_stop):
            try:
                return self._steps(solver, compensation, histories, quiet, first)
            except BaseException as error:
                text = f"{type(error).__name__}: {error}"
                if self.guard.state == "ready":
                    with contextlib.suppress(Tripped):
                        self.guard.trip("solver", text)
                if not quiet:
                    with contextlib.suppress(JournalError):
                        self.note("end", {"ending": self.guard.state, "steps": self.step, "error": text})
                raise

    def _show(self, progress: Progress) -> None:
        """A view that fails is dropped: nobody's window ends a test."""
        for view in self.views:
            try:
                view(progress)
            except Exception as error:
                self.views = tuple(other for other in self.views if other is not view)
                text = f"a view failed and is not shown any more: {type(error).__name__}: {error}"
                self.note("view", {"text": text})
                with contextlib.suppress(Exception):
                    self.operator.tell(text)

    def _steps(
        self, solver: Solver, compensation: Compensator, histories: Histories, quiet: bool = False,
        first: int | None = None,
    ) -> Outcome:  # fmt: skip
        guard = self.guard
        journal: Any = _Moves(self) if quiet else self.journal
        self.step = 0 if quiet else self.step
        sequence = guard.last_sequence + 1 if first is None else first + self.step
        clock = time.perf_counter
        ending = "completed"
        twin = self.twin = Twin(self) if self.pace is not None and not quiet and first is None else None
        with undisturbed(self.pace is not None, None if journal is None else journal.process):
            began = clock() - self.step * (self.pace or 0.0)
            while self.step < solver.steps:
                step = self.step + 1
                if self.pace is not None:
                    due = began + step * self.pace
                    if twin is not None:
                        twin.follow(due)
                    wait_until(due)
                    histories.lateness[step - 1] = clock() - due
                start = clock()
                target = solver.predict()
                displacement = compensation.command(target)
                command = Command(sequence, displacement, self.duration)
                guard.energies, guard.target = solver.energies(), target
                if journal is not None:
                    journal.command(step, command)
                try:
                    reading = guard.apply(command)
                except (Tripped, Refused) as broken:
                    trip = broken if isinstance(broken, Tripped) else self._refused(broken, command)
                    answered = self._tripped(trip, command)
                    if answered is None:
                        ending = guard.state
                        break
                    reading = answered
                if journal is not None:
                    journal.reading(step, reading)
                self.finish(solver, compensation, histories, step, target, displacement, reading)
                self.step, sequence = step, sequence + 1
                histories.step_time[step - 1] = clock() - start
                if twin is not None:
                    twin.heard.append(reading)
                if self.views and not quiet:
                    left = (solver.steps - step) * (self.pace or self.duration)
                    progress = Progress(
                        step, solver.steps, left, target, displacement, reading, guard.monitor.ratio, guard.shares,
                        guard.state,
                    )  # fmt: skip
                    self._show(progress)
        if ending == "completed":
            with contextlib.suppress(Tripped):
                guard.heed()
            ending = ending if guard.state == "ready" else guard.state
        done = self.step
        if not quiet and ending == "unloaded":
            here = guard.read()
            rest = {
                "command": guard.command_now.tolist(),
                "u": here.displacement.tolist(),
                "f": here.force.tolist(),
            }
            self.note("at rest", {"sequence": guard.last_sequence, **rest})
        if not quiet:
            self.note("end", {"ending": ending, "steps": done})
        return histories.outcome(ending, done, list(guard.events), 0 if journal is None else journal.waits)

    def _tripped(self, trip: Tripped, command: Command) -> Reading | None:
        """Ask the operator after a hold; the reading to go on with, or None at the test's end."""
        guard, ladder = self.guard, Ladder(self.guard)
        ladder.follow(trip, command)
        declined: set[str] = set()
        while guard.state == "held":
            possible = [decision for decision in ladder.possible(trip) if decision not in declined]
            with self.waiting():
                decision = self.operator.decide(trip.event, possible)
            if decision not in possible:
                self.operator.tell(
                    f"{decision!r} cannot be carried out now; possible: {', '.join(possible)}. It stops."
                )
                decision = "stop"
            self.note(
                "decision",
                {"decision": decision, "operator": self.operator.name, "trigger": trip.event.trigger},
            )
            if decision == "unload":
                ladder.unload(trip.event)
                return None
            if decision == "stop":
                guard.stop("operator's decision after a hold")
                return None
            if not ladder.release():
                self.operator.tell("The specimen's side was not released from its hold.")
                declined.add("continue")
                continue
            if trip.reading is not None:
                return trip.reading
            try:
                return guard.apply(command)
            except Tripped as again:
                trip = again
                ladder.follow(trip, command)
            except Refused as refusal:
                trip = self._refused(refusal, command)
            if trip.reading is None:
                # The same command would only come back again.
                declined.add("continue")
        return None

    def _refused(self, refusal: Refused, command: Command) -> Tripped:
        """A command that the specimen's side declined is a hold, which the operator resolves."""
        event = Event("link", Action.HOLD, str(refusal), "specimen", command.sequence)
        self.guard.events.append(event)
        self._heard(event)
        if self.guard.state == "ready":
            self.guard.state = "held"
        return Tripped(event)


class _Moves:
    """The journal of a low-level run: its steps are motions, and no steps of the test."""

    def __init__(self, test: HybridTest) -> None:
        self.test = test
        self.process = None if test.journal is None else test.journal.process
        self.waits = 0

    def command(self, step: int, command: Command) -> None:
        """Line of a command before it leaves."""
        self.test._motion("low level", command)

    def reading(self, step: int, reading: Reading) -> None:
        """The next motion's line has it."""


def _plain(array: np.ndarray | None) -> Any:
    return None if array is None else array.tolist()


__all__ = ["CHECKS", "HybridTest", "NotReady", "Outcome", "Progress"]
