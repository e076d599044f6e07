"""Guard: a specimen in front of a specimen, through which no command beyond a limit leaves.

The same class stands on the solver's side and again on the specimen's side; neither can switch off the other.
"""

import time
from collections.abc import Callable
from math import isfinite
from typing import Any

import numpy as np

from frame2d.errors import Frame2dError, InputError
from frame2d.hybrid.computed import Energies
from frame2d.hybrid.energy import EnergyMonitor
from frame2d.hybrid.limits import Action, Event, Limits, Table
from frame2d.hybrid.specimen import Around, Command, LinkLost, Reading, Refused, Specimen
from frame2d.hybrid.unloading import Unloading
from frame2d.hybrid.watch import (
    BEYOND_STEP,
    BEYOND_STROKE,
    FLAT,
    FREE,
    NONSENSE,
    NOT_FINITE,
    USUAL,
    Watch,
)

#: What a repeated force may mean besides a dead sensor.
_PLATEAU = " (a model without noise that yields on a plateau needs Limits.flat_force = 0)"


class Tripped(Frame2dError):
    """The guard has held, unloaded or stopped the test; `event` says why."""

    def __init__(self, event: Event, reading: Reading | None = None) -> None:
        super().__init__(f"{event.action.name} on the {event.side}'s side: {event.trigger}: {event.text}")
        self.event = event
        #: The reading of the command that tripped the guard after it had been executed.
        self.reading = reading


class Guarded(Around):
    """`inner` behind `limits`; `table` says what each trigger does.

    `stiffness` (freedoms, freedoms): the largest credible stiffness of the specimen, by which unloading finds its
    way; without it unloading moves each freedom against its own force. `side` is 'solver' or 'specimen'. State is
    'ready', 'held', 'unloaded' or 'stopped'. `watch` hears of every event.
    """

    def __init__(
        self,
        inner: Specimen,
        limits: Limits,
        table: Table | None = None,
        stiffness: np.ndarray | None = None,
        side: str = "solver",
        clock: Callable[[], float] = time.monotonic,
        watch: Callable[[Event], None] | None = None,
    ) -> None:
        self.inner, self.limits, self.table = inner, limits, table or Table()
        self.freedoms, self.session = inner.freedoms, inner.session
        self.last_sequence = inner.last_sequence
        self.side, self.clock, self.watch = side, clock, watch
        self.stiffness = None if stiffness is None else np.atleast_2d(np.asarray(stiffness, dtype=np.float64))
        if self.stiffness is not None and self.stiffness.shape != (self.freedoms, self.freedoms):
            raise InputError(
                f"stiffness for unloading has shape {self.stiffness.shape}; allowed: {(self.freedoms,) * 2}"
            )
        self.state = "ready"
        self.events: list[Event] = []
        self.bounds = limits.bounds(self.freedoms)
        self.monitor = EnergyMonitor(self.freedoms, self.bounds.floor)
        self._watch = Watch(limits, self.bounds, self.monitor)
        #: Given by the solver's side before each command: energies of the structure.
        self.energies: Energies | None = None
        #: Given by the solver's side before each command: what is wanted at its end, if compensation asks for more.
        self.target: np.ndarray | None = None
        self._operator = ""
        #: Hears of each move of unloading before it leaves.
        self.moves: Callable[[Command], None] | None = None
        self._moved = np.zeros(self.freedoms)
        self.meet()
        self.begin(self._command, self._reading)

    # Where it stands

    def meet(self) -> Reading:
        """Read where the specimen stands, and measure the next command from there; raises `Refused` for NaN."""
        reading = self.inner.read()
        self.adopt(reading.displacement, reading, self.inner.last_sequence)
        return reading

    def adopt(self, command: np.ndarray, reading: Reading, sequence: int) -> None:
        """Take over a position that was reached before; the next step is measured from here."""
        here = np.array(command, dtype=np.float64)
        good = here.shape == np.shape(reading.displacement) == np.shape(reading.force) == (self.freedoms,)
        if not good or not all(map(isfinite, [*here.tolist(), *np.asarray(reading.force).tolist()])):
            raise Refused(
                f"the specimen reads displacement {here.tolist()}, force {np.asarray(reading.force).tolist()}; allowed: "
                f"{self.freedoms} finite numbers each. Where it stands is not known, so nothing may move"
            )
        self._command, self.last_sequence = here, sequence
        self._stands(reading)

    def _stands(self, reading: Reading) -> None:
        self._reading = reading
        self._watch.stands(reading)

    def begin(self, command: np.ndarray, reading: Reading) -> None:
        """All monitors anew, from a start at `command` with `reading`; what a check or another run left is forgotten."""
        self.monitor.begin(command, reading)
        self._watch.begin()
        self.energies = self.target = None
        self._late = 0
        self._ended: float | None = None
        self._warned: set[str] = set()

    # Commands

    @property
    def command_now(self) -> np.ndarray:
        """The last command that left."""
        return self._command.copy()

    @property
    def reading_now(self) -> Reading:
        """The last reading that came back."""
        return self._reading

    def apply(self, command: Command) -> Reading:
        self._ready()
        if self._operator:
            self._trip("operator", self._operator, command)
        self._check_deadline(command)
        self._check_command(command)
        reading = self._send(command)
        self._check_reading(command, reading)
        self._ended = self.clock()
        return reading

    def _ready(self) -> None:
        if self.state != "ready":
            raise Refused(
                f"the guard on the {self.side}'s side is {self.state}; nothing moves until it is released"
            )

    def _send(self, command: Command) -> Reading:
        try:
            reading = self.inner.apply(command)
            if not isinstance(reading, Reading):
                raise TypeError(f"the specimen answered {reading!r}; allowed: a Reading")
        except (LinkLost, TimeoutError, ConnectionError) as error:
            self._trip("link", str(error) or type(error).__name__, command)
        except Tripped as other:
            self.state = {Action.HOLD: "held", Action.UNLOAD: "unloaded"}.get(other.event.action, "stopped")
            self._note(other.event)
            raise
        except Refused:
            raise
        except Exception as error:
            # A fault of the specimen's own program: where it stands is not known.
            self._trip("link", f"{type(error).__name__}: {error}", command)
        self.last_sequence = command.sequence
        target = np.array(command.displacement, dtype=np.float64)
        self._moved, self._command = target - self._command, target
        return reading

    def _check_command(self, command: Command) -> None:
        target, seconds = np.asarray(command.displacement, dtype=np.float64), command.duration
        if target.shape == (self.freedoms,):
            fault, i = self._watch.leaving(self._command, target, seconds)
        else:
            fault, i = NONSENSE, 0
        if fault != FREE:
            self._refuse(fault, i, target, command)

    def _refuse(self, fault: int, i: int, target: np.ndarray, command: Command) -> None:
        """Trip on a command that may not leave, for freedom `i`."""
        seconds = command.duration
        if fault == NONSENSE:
            text = f"command {command.sequence} is {target.tolist()} in {seconds} s"
            self._trip("command", text, command)
        b, u, change = self.bounds, target[i], abs(target[i] - self._command[i])
        name = f"command of freedom {i + 1}"
        if fault == BEYOND_STROKE:
            self._trip("stroke", f"{name} is {u:.6g}, allowed {b.low[i]:g} to {b.high[i]:g}", command)
        if fault == BEYOND_STEP:
            self._trip("step", f"{name} changes by {change:.4g}, allowed {b.step[i]:g}", command)
        self._trip("velocity", f"{name} moves at {change / seconds:.4g}, allowed {b.velocity[i]:g}", command)

    def _check_deadline(self, command: Command) -> None:
        if self.limits.deadline == 0.0 or self._ended is None:
            return
        waited = self.clock() - self._ended
        self._late = self._late + 1 if waited > self.limits.deadline else 0
        if self._late >= max(self.limits.late_cycles, 1):
            self._late = 0
            self._trip(
                "deadline",
                f"command {command.sequence} came {waited:.4g} s after the last one ended",
                command,
            )

    # Readings

    def _check_reading(self, command: Command, reading: Reading) -> None:
        displacement, force = np.asarray(reading.displacement), np.asarray(reading.force)
        wanted = self._command if self.target is None else self.target
        verdict = NOT_FINITE
        if displacement.shape == force.shape == (self.freedoms,):
            verdict = self._watch.seen(displacement, force, wanted, self._moved, self.energies)
        if verdict == NOT_FINITE:
            self._trip("nan", f"reading is {displacement.tolist()}, {force.tolist()}", command, reading)
        if verdict == FLAT:
            name, i, count = self._watch.flat_line()
            plateau = _PLATEAU if name == "force" else ""
            self._trip("flat line", f"{name} {i + 1} repeated {count} times{plateau}", command, reading)
        self._reading = reading
        if verdict != USUAL:
            self._weigh(command, reading, displacement - wanted)

    def _weigh(self, command: Command, reading: Reading, gap: np.ndarray) -> None:
        """Act on a reading beyond a limit, warn of one that is near it."""
        limits, shares = self.limits, self.shares
        said = {"force": reading.force, "stroke": reading.displacement, "tracking": gap}
        beyond = [name for name, share in shares.items() if share > 1.0]
        if beyond:
            # The severest trigger of this reading decides.
            name = max(beyond, key=self.table.action)
            measured = "" if name == "energy" else np.asarray(said[name]).tolist()
            text = f"HSEM {self.monitor.ratio:.2%}" if name == "energy" else f"measured {measured}"
            self._trip(name, text, command, reading)
        if abs(self.monitor.ratio) > limits.energy_warning:
            self._warn("energy", f"HSEM {self.monitor.ratio:.2%}", command, reading)
        for name in said:
            if limits.warning_share < shares[name] <= 1.0:
                self._warn("margin", f"{name} at {shares[name]:.0%} of its limit", command, reading, name)

    @property
    def shares(self) -> dict[str, float]:
        """Used share of each limit at the last reading, 1 at the limit."""
        return self._watch.shares

    # The ladder

    def _note(self, event: Event) -> None:
        self.events.append(event)
        if self.watch is not None:
            self.watch(event)

    def _warn(self, trigger: str, text: str, command: Command, reading: Reading, key: str = "") -> None:
        if (key or trigger) in self._warned:
            return
        self._warned.add(key or trigger)
        action = max(Action.WARN, self.table.action(trigger)) if trigger == "margin" else Action.WARN
        if action == Action.WARN:
            self._note(Event(trigger, Action.WARN, text, self.side, command.sequence))
        else:
            self._trip(trigger, text, command, reading)

    def _trip(self, trigger: str, text: str, command: Command | None, reading: Reading | None = None) -> None:
        action = self.table.action(trigger)
        if trigger == "operator":
            self._operator = ""  # heard; the next one counts anew, while unloading too
        sequence = self.last_sequence if command is None else command.sequence
        event = Event(trigger, action, text, self.side, sequence)
        if action == Action.WARN:
            if trigger not in self._warned:
                self._warned.add(trigger)
                self._note(event)
            return
        self._note(event)
        if action == Action.HOLD:
            self.state = "held"
        elif action == Action.UNLOAD:
            self.unload(event)
        else:
            self._stop(event.text)
        raise Tripped(event, reading)

    def unload(self, event: Event | None = None) -> None:
        """Move to zero measured force at the limited velocity; stop if a reading fails or it does not arrive."""
        limits = self.limits
        if self.state == "stopped":
            raise Refused("the rig has been stopped: it belongs to its own hardware now")
        self.state = "unloading"
        longest = np.minimum(self.bounds.slow * limits.unload_cycle, self.bounds.step)
        way = Unloading(self.bounds, longest, self.stiffness, self._command, self._reading)
        doubt = way.doubt()
        for _ in range(int(limits.unload_time / limits.unload_cycle)):
            if doubt or self._operator:
                break
            if way.arrived:
                self.state = "unloaded"
                return
            doubt = self._unloading_move(way)
        if self._operator:
            self._stop(self._operator, "operator")
        else:
            late = f"unloading did not reach zero force in {limits.unload_time:g} s"
            self._stop(doubt or late, "unloading")

    def _unloading_move(self, way: Unloading) -> str:
        """One move of unloading; why no other may follow, or nothing."""
        target = way.target()
        command = Command(self.last_sequence + 1, target, self.limits.unload_cycle)
        if self.moves is not None:
            self.moves(command)
        try:
            reading = self.inner.apply(command)
            self.last_sequence = command.sequence
            self._moved, self._command = target - self._command, target
            doubt = way.moved(target, reading)
        except Exception as error:
            # Whatever it is, no reading can be trusted after it.
            return f"unloading failed: {error or type(error).__name__}"
        self._stands(reading)
        return doubt

    def _stop(self, reason: str, trigger: str = "") -> None:
        self.state = "stopped"
        if trigger:
            self._note(Event(trigger, Action.STOP, reason, self.side, self.last_sequence))
        try:
            self.inner.stop(reason)
        except Exception as error:
            # The link may be what failed; the rig's own hardware and guard act on silence.
            self._note(
                Event("link", Action.STOP, f"stop could not be sent: {error}", self.side, self.last_sequence)
            )

    def trip(self, trigger: str, text: str) -> None:
        """Act on a trigger that was seen outside of a command (silence of the other side, operator)."""
        if self.state in ("ready", "held"):
            self._trip(trigger, text, None, self._reading)

    def operator_stop(self, text: str = "operator's stop") -> None:
        """The operator's stop, from any thread: acts before the next command leaves, and ends unloading."""
        self._operator = text

    @property
    def asked_to_stop(self) -> str:
        """The operator's stop that nothing has acted on yet, or nothing."""
        return self._operator

    def heed(self) -> None:
        """Act on an operator's stop that came after the last command."""
        if self._operator and self.state in ("ready", "held"):
            self._trip("operator", self._operator, None, self._reading)

    def release(self, confirmed: bool) -> None:
        """Leave the hold after the operator's confirmation."""
        if self.state == "held" and confirmed:
            self.state, self._late, self._ended, self._operator = "ready", 0, None, ""
            self._warned.clear()

    def replayed(self, command: Command, reading: Reading) -> None:
        """Follow a step of the journal without moving, so that the monitors are as they were."""
        self._moved = np.asarray(command.displacement) - self._command
        self._command = np.array(command.displacement, dtype=np.float64)
        self.last_sequence = command.sequence
        wanted = self._command if self.target is None else self.target
        self._watch.seen(reading.displacement, reading.force, wanted, self._moved, self.energies)
        self._reading = reading

    # The rest of a specimen

    def stop(self, reason: str) -> None:
        self._note(Event("operator", Action.STOP, reason, self.side, self.last_sequence))
        self._stop(reason)

    def describe(self) -> dict[str, Any]:
        return {
            "specimen": "Guarded",
            "table": self.table.digest(self.limits),
            "inner": self.inner.describe(),
        }
