"""`HybridRunner`: hybrid tests of a divided frame, real or rehearsed, as the tests of a campaign.

The state that is carried is that of the whole frame: the computed part as it ended, the tested part as its twin says
that was led through the measured displacements. On a rig the devices are replaced by people; the log says what the
twin expects, and the next test begins where the twin stands.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from frame2d.analysis import AnalysisError, gravity, modes
from frame2d.campaign.capacities import Criteria
from frame2d.campaign.limit_states import LimitState
from frame2d.campaign.measured import Loop, Measured, measured
from frame2d.campaign.replacement import Replacement, replace_devices, residual_drifts, rest
from frame2d.campaign.runner import Run, restless
from frame2d.campaign.states import load_state, save_state
from frame2d.campaign.whole import law_place, whole_response, whole_system
from frame2d.errors import Frame2dError
from frame2d.hybrid import HybridTest
from frame2d.model.state import State
from frame2d.model.system import System
from frame2d.substructure import Split


@dataclass
class HybridRunner:
    """Hybrid tests of `split`: `make_test(limit_state, state)` returns the test of one limit state, not yet run.

    `state` is that of `system`, the whole frame (the joined parts where the cut releases freedoms). The checks before
    each test are passed or overridden by `before(test)`; `override` names checks that are left out on purpose.
    `directions` are the rows of the specimen's freedoms; `channels` maps a law to the interface freedom that measures
    it by itself (a brace along which an actuator pushes: {"pin 1": 0}). `about` tells this test apart from others when
    a campaign is resumed. `origin` is printed: "hybrid test", "rehearsal".
    """

    split: Split
    make_test: Callable[[LimitState, State], HybridTest]
    directions: np.ndarray | None = None
    channels: Mapping[str, int] = field(default_factory=dict)
    before: Callable[[HybridTest], Any] | None = None
    override: tuple[str, ...] = ()
    about: Any = ""
    origin: str = "rehearsal"
    #: Outcomes of the tests of this session, by limit state.
    outcomes: dict[str, Any] = field(default_factory=dict)

    @property
    def system(self) -> System:
        """The frame whose state is carried."""
        return whole_system(self.split)

    @property
    def devices(self) -> list[str]:
        """Devices of the whole frame."""
        return self.system.frame.devices()

    def identity(self) -> dict[str, Any]:
        """Split, channels and what the user says about the test."""
        return {
            "split": self.split.summary(), "channels": dict(self.channels), "about": repr(self.about), "origin": self.origin,
            "directions": None if self.directions is None else np.asarray(self.directions).tolist(),
        }  # fmt: skip

    def begin(self) -> State:
        """The whole frame under its gravity."""
        return gravity(self.system).state

    def run(self, limit_state: LimitState, state: State, criteria: Criteria) -> Run:
        """One hybrid test; unless it is completed, nothing may follow."""
        test = self.make_test(limit_state, state)
        try:
            if self.before is not None:
                self.before(test)
            outcome = test.run(self.override)
            solver: Any = test.solver
            computed = solver.response()
        finally:
            test.close()
        self.outcomes[limit_state.name] = outcome
        forces = {
            law: np.concatenate([[0.0], outcome.force[:, freedom]]) for law, freedom in self.channels.items()
        }
        response = whole_response(self.split, state, computed, outcome.displacement, self.directions, forces)
        told = measured(response, criteria.elastic, self.origin)
        told = replace(told, devices=self._loops(told, outcome.displacement), outcome=outcome.ending)
        if outcome.ending != "completed":
            return Run(replace(told, completed=False), None, {}, response)
        told = replace(told, completed=True)
        try:
            at_rest = rest(self.system, response.state, 4).state
        except AnalysisError as error:
            return Run(restless(told, error), None, {}, response)
        return Run(told, at_rest, residual_drifts(self.system, at_rest), response)

    def _loops(self, told: Measured, displacement: np.ndarray) -> dict[str, Loop]:
        """Measured deformations in place of commanded ones, for laws with a channel."""
        loops = dict(told.devices)
        for law, freedom in self.channels.items():
            law_place(self.system, law)
            old = loops[law]
            deformation = old.deformation[0] + np.concatenate([[0.0], displacement[:, freedom]])
            steps = 0.5 * (old.force[1:] + old.force[:-1])
            work = np.concatenate([[0.0], np.cumsum(steps * np.diff(deformation))])
            commanded = np.concatenate([[0.0], np.cumsum(steps * np.diff(old.deformation))])
            loops[law] = old._replace(deformation=deformation, lost=old.lost + work - commanded)
        return loops

    def replace(self, limit_state: LimitState, state: State, devices: list[str]) -> tuple[State, Replacement]:
        """Replacement on the whole frame; see `frame2d.campaign.replacement`."""
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
