"""Cut a column at its point of inflection, see what the cut loses, and run the two parts tied to each other.

The frame is invented: two storeys and two bays with weights, of which a laboratory takes one first-storey column and
the lower part of the one above it, pushed by two actuators and without their weights.
"""

from types import SimpleNamespace

import numpy as np

from frame2d import BeamColumn, Frame, Rayleigh, Response, State, System, gravity, static, time_history
from frame2d.substructure import (
    GravouilCombescure,
    PrakashHjelmstad,
    axial_effect,
    coupled_history,
    cut_at,
    lost_forces,
    parts_of,
    shared_damping,
    split,
)


def two_storeys() -> Frame:
    """The invented frame, with a load case "wind"."""
    frame = Frame("two storeys, invented")
    column = BeamColumn(E=210e9, A=1e-2, I=1.5e-4, geometry="p-delta")
    beam = BeamColumn(E=210e9, A=8e-3, I=2e-4)
    for level in range(3):
        for axis in range(3):
            frame.node(f"{axis}{level}", 6.0 * axis, 3.6 * level, mass=3e4 if level else 0.0)
            if level:
                frame.load(f"{axis}{level}", fy=-5e5)
                frame.member(f"column {axis}{level}", f"{axis}{level - 1}", f"{axis}{level}", column)
            else:
                frame.support(f"{axis}0", "fixed")
        for axis in range(2) if level else ():
            frame.member(f"beam {axis}{level}", f"{axis}{level}", f"{axis + 1}{level}", beam)
    frame.load("22", fx=1e5, case="wind")
    frame.load("21", fx=5e4, case="wind")
    return frame


def pushed(system: System, state: State) -> Response:
    """The wind upon a state."""
    return static(system, state, "wind")


def run() -> dict[str, float]:
    """Everything, printed and as numbers."""
    frame = two_storeys()
    whole = frame.compile()
    ends = pushed(whole, gravity(whole).state).end_forces("column 02")
    bottom, top = -ends["M_start"][-1], ends["M_end"][-1]
    height = 3.6 * bottom / (bottom - top)
    print(f"the upper column bends back {height:.2f} m above the first floor")

    model = cut_at(frame, "column 02", height)
    specimen, tied = ["column 01", "column 02 start"], [("01", "ux"), ("01", "rz"), ("column 02 cut", "ux")]
    cut = split(model, specimen, tied)
    print(cut.summary())
    lost = lost_forces(cut, pushed(cut.whole_system, gravity(cut.whole_system).state))
    for (node, component), found in lost.items():
        print(f"lost at {node}, {component}: {found.peak:.4g} N or N·m, {found.share:.1%} of the column's")
    effect = axial_effect(cut, pushed)
    print(effect.summary())

    t = 0.01 * np.arange(201)
    record = SimpleNamespace(acceleration=2.0 * np.sin(6.0 * t) * np.minimum(1.0, t), dt=0.01)
    damping = shared_damping(cut.joined_system, Rayleigh(0.03, (1, 2)))
    joined = time_history(cut.joined_system, record, gravity(cut.joined_system).state, damping=damping)
    wanted = joined.displacement("22")
    gaps = {}
    for method, ratio in ((GravouilCombescure(), 1), (PrakashHjelmstad(), 4)):
        steps = {"computed": 0.01, "tested": 0.01 / ratio}
        parts = parts_of(cut, steps, damping=damping, record=record, states=cut.start())
        coupled = coupled_history(parts, 2.0, method=method)
        moved = coupled.responses["computed"].displacement("22")
        gaps[f"{method.name}, {ratio} steps"] = float(np.abs(moved - wanted).max() / np.abs(wanted).max())
        print(
            f"{method.name} with {ratio} tested steps a step: differs by {gaps[f'{method.name}, {ratio} steps']:.1e} of the peak"
        )
    return {
        "height": height,
        "moment lost": lost["column 02 cut", "rz"].share,
        "axial effect": effect.change("column 01"),
        **gaps,
    }


if __name__ == "__main__":
    run()
