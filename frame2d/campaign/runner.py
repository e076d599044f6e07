"""Who runs the tests of a campaign: `Runner` says what is asked of it, `ComputedRunner` is the all-computed one.

A hybrid test, its rehearsal and an all-computed run drive the same campaign: each is a `Runner`. What its state is, only
the runner knows; the campaign hands it from one limit state to the next and puts it on disk through the runner.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from hashlib import sha256
from json import dumps
from pathlib import Path
from typing import Any, NamedTuple, Protocol

from frame2d.analysis import AnalysisError, Outcome, Response, gravity, modes, time_history
from frame2d.campaign.capacities import Criteria
from frame2d.campaign.limit_states import LimitState
from frame2d.campaign.measured import Measured, measured
from frame2d.campaign.replacement import Replacement, replace_devices, residual_drifts, rest
from frame2d.campaign.states import load_state, save_state
from frame2d.errors import Frame2dError
from frame2d.model.schema import to_data
from frame2d.model.state import State
from frame2d.model.system import System


class Run(NamedTuple):
    """End of one test: histories, the state afterwards, storey drift ratios at rest, and what to keep on disk.

    `state` is None where the test did not come to an end from which another may start.
    """

    measured: Measured
    state: Any
    residual: dict[str, float]
    response: Response | None = None


class Runner(Protocol):
    """What runs the tests of a campaign.

    1. `devices` names the devices that can be replaced, `identity()` is plain data of everything that the results
       depend on besides the limit states.
    2. `begin()` returns the state before the first test, with gravity.
    3. `run(limit_state, state, criteria)` runs one test; it never raises for a run that does not converge or
       collapses, but says so in `Measured` and returns no state.
    4. `replace(limit_state, state, devices)` replaces devices and returns the new state at rest and the log.
    5. `save(state, path)` and `load(path)` put a state on disk and back, bit for bit.
    6. `period(state)`: first period (s) of small vibrations, or None.
    """

    @property
    def devices(self) -> list[str]: ...

    def identity(self) -> dict[str, Any]: ...

    def begin(self) -> Any: ...

    def run(self, limit_state: LimitState, state: Any, criteria: Criteria) -> Run: ...

    def replace(self, limit_state: LimitState, state: Any, devices: list[str]) -> tuple[Any, Replacement]: ...

    def save(self, state: Any, path: Path) -> None: ...

    def load(self, path: Path) -> Any: ...

    def period(self, state: Any) -> float | None: ...


class OnFrame:
    """What runners share whose state is that of a whole frame, their `system`."""

    system: System

    @property
    def devices(self) -> list[str]:
        """Devices of the frame."""
        return self.system.frame.devices()

    def begin(self) -> State:
        """The frame under its gravity."""
        return gravity(self.system).state

    def replace(self, limit_state: LimitState, state: State, devices: list[str]) -> tuple[State, Replacement]:
        """See `frame2d.campaign.replacement`."""
        return replace_devices(self.system, state, devices, groups=limit_state.groups, mode=limit_state.mode)

    def save(self, state: State, path: Path) -> None:
        """State to HDF5."""
        save_state(state, path)

    def load(self, path: Path) -> State:
        """State from HDF5."""
        return load_state(path)

    def period(self, state: State) -> float | None:
        """First period about the state; None where its tangent is not positive definite."""
        try:
            return float(modes(self.system, state, 1).period[0])
        except Frame2dError:
            return None


@dataclass
class ComputedRunner(OnFrame):
    """All-computed tests of a `System`; `options` go to `time_history` (damping, scheme, dt, drift_limit, …).

    `run_one(system, shaking, state, factor=…, **options)` stands in for `time_history` where another way of running
    ends in a `Response` of the same system. `origin` names it in results.
    """

    system: System
    options: dict[str, Any] = field(default_factory=dict)
    run_one: Callable[..., Response] = time_history
    origin: str = "computed"

    def identity(self) -> dict[str, Any]:
        """Frame, options and way of running, as a digest and text."""
        frame = sha256(dumps(to_data(self.system.frame), sort_keys=True).encode()).hexdigest()
        options = {name: repr(value) for name, value in sorted(self.options.items())}
        return {
            "frame": frame,
            "options": options,
            "run": getattr(self.run_one, "__qualname__", repr(self.run_one)),
        }

    def run(self, limit_state: LimitState, state: State, criteria: Criteria) -> Run:
        """One time history and the way to rest after it."""
        try:
            response = self.run_one(
                self.system, limit_state.padded, state, factor=limit_state.factor, **self.options
            )
        except AnalysisError as error:
            return Run(measured(error.response, criteria.elastic, self.origin), None, {}, error.response)
        test = measured(response, criteria.elastic, self.origin)
        if response.outcome is not Outcome.COMPLETED:
            return Run(test, None, {}, response)
        try:
            at_rest = rest(self.system, response.state, 4).state
        except AnalysisError as error:
            return Run(restless(test, error), None, {}, response)
        return Run(test, at_rest, residual_drifts(self.system, at_rest), response)


def restless(test: Measured, error: AnalysisError) -> Measured:
    """A test that ended in motion and after which no state of rest was found: nothing may follow."""
    return replace(test, completed=False, outcome=f"no rest was found after the test: {error}")
