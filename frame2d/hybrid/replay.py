"""Specimen that replays a recorded test: the forces that were measured, in the order in which they were measured."""

from pathlib import Path
from typing import Any

import numpy as np

from frame2d.errors import Frame2dError, InputError, positive
from frame2d.hybrid.specimen import Command, Reading, Specimen


class Replay(Specimen):
    """Answers command i with recorded reading i, as long as the command is the recorded one.

    `commands`, `displacements`, `forces`: (steps, freedoms). A command that differs from the record by more than
    `tolerance` (m or rad) raises `Frame2dError`: a hysteretic specimen has no recorded answer to another history.
    """

    def __init__(
        self, commands: np.ndarray, displacements: np.ndarray, forces: np.ndarray, tolerance: float = 1e-6
    ) -> None:
        shaped = [np.asarray(a, dtype=np.float64) for a in (commands, displacements, forces)]
        self.commands, self.displacements, self.forces = (a.reshape(a.shape[0], -1) for a in shaped)
        if (
            not (self.commands.shape == self.displacements.shape == self.forces.shape)
            or not self.commands.size
        ):
            raise InputError(
                f"recorded arrays have shapes {[a.shape for a in shaped]}; allowed: three times (steps, freedoms)"
            )
        if not np.isfinite(np.concatenate([self.commands, self.displacements, self.forces])).all():
            raise InputError(
                "the recorded test has numbers that are not finite. Likely mistake: gaps in the data"
            )
        super().__init__(self.commands.shape[1])
        self.tolerance = positive("Replay.tolerance", tolerance)
        self.position = 0

    @classmethod
    def from_journal(cls, path: str | Path, tolerance: float = 1e-6) -> "Replay":
        """Of the steps that a journal holds."""
        from frame2d.hybrid.journal import history

        steps = history(path)
        return cls(steps["command"], steps["displacement"], steps["force"], tolerance)

    def apply(self, command: Command) -> Reading:
        if self.position >= len(self.commands):
            raise Frame2dError(
                f"the recorded test ends after {len(self.commands)} steps; step {self.position + 1} asked"
            )
        gap = np.abs(np.asarray(command.displacement) - self.commands[self.position])
        if not (gap <= self.tolerance).all():
            raise Frame2dError(
                f"command {self.position + 1} is {np.asarray(command.displacement).tolist()}, recorded was "
                f"{self.commands[self.position].tolist()}: a recorded test answers only the motion that it saw"
            )
        self.position += 1
        self.last_sequence = command.sequence
        return self.read()

    def read(self) -> Reading:
        if self.position == 0:
            return Reading(np.zeros(self.freedoms), np.zeros(self.freedoms))
        return Reading(self.displacements[self.position - 1].copy(), self.forces[self.position - 1].copy())

    def describe(self) -> dict[str, Any]:
        return {"specimen": "Replay", "freedoms": self.freedoms, "steps": len(self.commands)}
