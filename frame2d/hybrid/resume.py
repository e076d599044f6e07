"""Take up an interrupted test: repeat its computation from the start with the journal's readings in the specimen's place.

Every command must come out as it was journalled, bit for bit, before anything moves again.
"""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from frame2d.hybrid.compensation import Compensator
from frame2d.hybrid.computed import Solver
from frame2d.hybrid.journal import JournalError, Row, rows
from frame2d.hybrid.outcome import Histories, NotReady
from frame2d.hybrid.specimen import Command, Reading

if TYPE_CHECKING:
    from frame2d.hybrid.conduct import HybridTest


def recover(test: "HybridTest", path: Path) -> tuple[Solver, Compensator, Histories, int]:
    """Everything as it was at the last step of the journal, confirmed by the operator; nothing moves."""
    known = rows(path)
    begun_as = next((row for row in known if row.kind == "test"), None)
    start = next((row for row in reversed(known) if row.kind == "start"), None)
    if begun_as is None or start is None:
        raise JournalError("the journal has no started test: run it from the start")
    if begun_as.body["identity"] != test.identity:
        raise JournalError("the journal belongs to another test: model, record, scheme or time scale differ")
    if any(row.kind == "end" and row.body["ending"] == "completed" for row in known):
        raise JournalError("the journalled test was completed")
    _recognise(test, start, known)
    solver = test.make_solver(1.0)
    compensation = test.compensation(solver)
    test.solver = solver
    begun = _start_reading(start, test.freedoms)
    test.guard.adopt(begun.displacement, begun, int(start.body["first"]) - 1)
    test.guard.begin(solver.origin, begun)
    histories = Histories(solver)
    test.tare = np.array(start.body["tare"])
    steps = _repeat(test, solver, compensation, histories, known, int(start.body["first"]))
    reading = test.guard.read()
    question = (
        f"Resume after step {steps} of {solver.steps}. The rig is at {reading.displacement.tolist()} with force "
        f"{reading.force.tolist()}. The next command moves it. {test.tables()[0]}"
    )
    if not test.confirmed(question):
        raise NotReady("the operator did not confirm: nothing moves")
    test.note("resumed", {"step": steps, "operator": test.operator.name, "u": reading.displacement.tolist()})
    return solver, compensation, histories, int(start.body["first"])


def _recognise(test: "HybridTest", start: Row, known: list[Row]) -> None:
    """Compare the specimen's memory and position with the journal."""
    guard = test.guard
    if start.body["session"] != guard.session:
        raise NotReady(
            "the specimen lost its memory (its session is another one): its state cannot be the journal's. "
            "Inspect it and start a new test"
        )
    commands = [row for row in known if row.kind == "command"]
    readings = [row for row in known if row.kind == "reading"]
    first = int(start.body["first"])
    written = max((row.body["sequence"] for row in commands), default=first - 1)
    answered = first - 1 + max((row.step for row in readings), default=0)
    executed = guard.last_sequence
    if any(row.kind == "motion" and row.number > start.number for row in known):
        raise NotReady(
            "the journal says that the specimen was unloaded after its last step: it is not where the test left it. "
            "Inspect it and make a new test"
        )
    if not answered <= executed <= written + test.may_lose:
        raise NotReady(
            f"the specimen executed commands up to {executed}, the journal knows {answered} to {written}: somebody "
            "else moved it, or the journal lost more than was allowed"
        )
    now = guard.read()
    if executed == answered and readings:
        expected: Reading | None = Reading(np.array(readings[-1].body["u"]), np.array(readings[-1].body["f"]))
    elif executed == first - 1:
        expected = _start_reading(start, test.freedoms)
    else:
        expected = guard.answer(executed)
    if expected is None:
        if executed > answered:
            raise NotReady(
                f"the specimen does not know its answer to command {executed}: its state is uncertain"
            )
        return
    gap_u = float(np.abs(now.displacement - expected.displacement).max())
    gap_f = float((np.abs(now.force - expected.force) / guard.bounds.force).max())
    if not gap_u <= test.resume_tolerance or not gap_f <= test.force_tolerance:
        raise NotReady(
            f"the rig is {gap_u:.3g} (allowed {test.resume_tolerance:g}) and {gap_f:.2%} of the force limit (allowed "
            f"{test.force_tolerance:.0%}) "
            "away from where the journal left it: it crept, relaxed or was moved"
        )


def _repeat(
    test: "HybridTest",
    solver: Solver,
    compensation: Compensator,
    histories: Histories,
    known: list[Row],
    first: int,
) -> int:
    """Repeat the journalled steps without moving; return how many."""
    commands = {row.step: row.body for row in known if row.kind == "command"}
    readings = {row.step: row.body for row in known if row.kind == "reading"}
    step = 0
    while step + 1 in readings:
        step += 1
        target = solver.predict()
        command = compensation.command(target)
        if command.tolist() != commands[step]["u"]:
            raise JournalError(
                f"step {step} computes the command {command.tolist()}, the journal has {commands[step]['u']}: "
                "another machine, version or input; the test cannot be resumed on this computation"
            )
        reading = Reading(np.array(readings[step]["u"]), np.array(readings[step]["f"]))
        test.guard.energies, test.guard.target = solver.energies(), target
        test.guard.replayed(Command(first + step - 1, command, test.duration), reading)
        test.finish(solver, compensation, histories, step, target, command, reading)
    test.step = step
    return step


def _start_reading(start: Row, freedoms: int) -> Reading:
    """Reading of the specimen when the test started; older journals began at zero."""
    zero = [0.0] * freedoms
    return Reading(np.array(start.body.get("u", zero)), np.array(start.body.get("f", zero)))


__all__ = ["recover"]
