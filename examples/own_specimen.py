"""A specimen of your own: a class with one method answers the displacement of a hybrid test.

The frame and its brace are invented. Run it: python examples/own_specimen.py
CAUTION: nothing here is a rig. A rig needs hardware interlocks of its own, independent of this program.
"""

import numpy as np

from frame2d import BeamColumn, Frame, Response, gravity
from frame2d.analysis import StiffnessMass
from frame2d.elements import Brace
from frame2d.hybrid import (
    CHECKS,
    Declared,
    FrameSolver,
    HybridTest,
    Limits,
    LinearlyImplicit,
    Outcome,
    Unattended,
    balanced,
)
from frame2d.materials import Elastic
from frame2d.motions.record import Record
from frame2d.sections import european
from frame2d.substructure import Split, split
from frame2d.units import kN, m, tonne

#: Elastic stiffness of the brace (N/m) and the force at which its friction joint slips (N).
STIFFNESS, SLIP = 4.0e7, 120e3


class FrictionBrace:
    """The tested brace, as you would write it: linear up to the slip force, then sliding."""

    def __init__(self) -> None:
        self.slid = 0.0

    def measure(self, displacement: np.ndarray) -> np.ndarray:
        """Force (N) that answers the elongation (m)."""
        stretch = displacement[0] - self.slid
        excess = abs(stretch) - SLIP / STIFFNESS
        if excess > 0.0:
            self.slid += np.sign(stretch) * excess
        return np.array([STIFFNESS * (displacement[0] - self.slid)])


def braced_frame() -> Frame:
    """Three storeys, one bay; the brace of the first storey will be tested."""
    frame = Frame("invented braced frame")
    column = BeamColumn.from_section(european("HE 240 B"), geometry="p-delta")
    beam = BeamColumn.from_section(european("IPE 330"))
    for level in range(4):
        for axis in "AB":
            name = f"{axis}{level}"
            frame.node(name, 6.0 * m * "AB".index(axis), 3.5 * m * level, support=None if level else "fixed")
            if level:
                frame.mass(name, 12 * tonne)
                frame.load(name, fy=-120 * kN)
                frame.member(f"column {name}", f"{axis}{level - 1}", name, column)
        if level:
            frame.member(f"beam {level}", f"A{level}", f"B{level}", beam)
            frame.member(
                f"brace {level}", f"A{level - 1}", f"B{level}", Brace(Elastic(STIFFNESS)), device=True
            )
            frame.floor(f"floor {level}", [f"A{level}", f"B{level}"])
    return frame


def divided() -> tuple[Split, np.ndarray]:
    """The frame without its first brace, and the row that makes the brace's elongation of what its end moves."""
    parts = split(braced_frame(), ["brace 1"])
    run, rise = 6.0, 3.5
    moves = {("B1", "ux"): run, ("B1", "uy"): rise}
    return parts, np.array([[moves[freedom] for freedom in parts.interface]]) / np.hypot(run, rise)


def run(seconds: float = 4.0, dt: float = 0.005) -> tuple[Outcome, Response]:
    """Drive the specimen through an invented motion; returns how the test went and what the frame did."""
    parts, along = divided()
    standing = gravity(parts.whole_system).state
    begin = balanced(parts.computed_system, parts.share(standing)["computed"])
    time = np.arange(round(seconds / dt) + 1) * dt
    motion = 2.0 * np.sin(2.0 * np.pi * 1.7 * time) * np.sin(np.pi * time / seconds)
    record = Record(motion, dt, "invented sweep", synthetic=True)
    # The operator is as stiff as the brace can ever be; its mass is with the frame's nodes.
    stiffness = np.array([[STIFFNESS]])
    solver = FrameSolver(
        parts, along, Declared(operator=1.05 * stiffness, credible=stiffness), LinearlyImplicit(0.8), record,
        state=begin, damping=StiffnessMass(0.3, 0.0),
    )  # fmt: skip
    limits = Limits(
        stroke=(-0.1, 0.1), force=2e5, velocity=1.0, step=0.02, tracking=0.001, energy=0.5, flat_force=0,
        flat_displacement=0,
    )  # fmt: skip
    # No journal of a model; a rig's test has one.
    test = HybridTest(solver.fresh, FrictionBrace(), limits, Unattended(yes=True), None, stiffness=stiffness)
    # A model needs no checks; a rig does, and the journal keeps the names of those that were left out.
    outcome = test.run(override=CHECKS)
    return outcome, test.solver.response()  # type: ignore[attr-defined]


if __name__ == "__main__":
    outcome, response = run()
    drift = max(float(np.abs(history).max()) for history in response.drifts().values())
    print(f"{outcome.ending} after {outcome.step} steps, largest drift {drift:.3%}")
    print(f"force of the brace: {np.abs(outcome.force).max() / 1e3:.1f} kN, it slips at {SLIP / 1e3:.0f} kN")
    print(
        f"energy that the brace took: {np.trapezoid(outcome.force[:, 0], outcome.displacement[:, 0]) / 1e3:.2f} kJ"
    )
