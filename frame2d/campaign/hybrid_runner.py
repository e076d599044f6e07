"""`HybridRunner`: hybrid tests of a divided frame, real or rehearsed, as the tests of a campaign.

The state that is carried is that of the whole frame: the computed part as it ended, the tested part as its twin says
that was led through the measured displacements. On a rig the devices are replaced by people; the log says what the
twin expects, and the next test begins where the twin stands.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from frame2d.analysis import AnalysisError
from frame2d.campaign.capacities import Criteria
from frame2d.campaign.limit_states import LimitState
from frame2d.campaign.measured import Loop, Measured, measured
from frame2d.campaign.replacement import residual_drifts, rest
from frame2d.campaign.runner import OnFrame, Run, restless
from frame2d.campaign.whole import law_place, whole_response, whole_system
from frame2d.hybrid import HybridTest
from frame2d.model.state import State
from frame2d.model.system import System
from frame2d.substructure import Split


@dataclass
class HybridRunner(OnFrame):
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
    def system(self) -> System:  # type: ignore[override]
        """The frame whose state is carried."""
        return whole_system(self.split)

    def identity(self) -> dict[str, Any]:
        """Split, channels and what the user says about the test."""
        return {
            "split": self.split.summary(), "channels": dict(self.channels), "about": repr(self.about), "origin": self.origin,
            "directions": None if self.directions is None else np.asarray(self.directions).tolist(),
        }  # fmt: skip

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
