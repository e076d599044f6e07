"""Small cycles relax a Bouc-Wen law: the defect, its size, and the stiffened law that does not have it.

A device is loaded to 0.9 yield deformations, and then moved fifty times between 0.8 and 0.9, as a jittery command or a
high mode would do. The plain law loses most of its force although it hardly moves. Numbers are invented.

Run: python examples/partial_cycle_drift.py [FILE.png]
"""

import sys
from typing import Any

import numpy as np

from frame2d.materials import BoucWen, BoucWenStiffened
from frame2d.materials.drive import Loop, drive

SHAPE = {"k": 1.0, "Fy": 1.0, "a": 0.02, "n": 2.0, "beta": 0.5}


def partial_cycles(low: float = 0.8, high: float = 0.9, cycles: int = 50, points: int = 100) -> np.ndarray:
    """Deformation: from rest to `high`, then `cycles` times to `low` and back, in `points` steps a leg."""
    legs = [np.linspace(0.0, high, points + 1)]
    for _ in range(cycles):
        legs += [np.linspace(high, low, points + 1)[1:], np.linspace(low, high, points + 1)[1:]]
    return np.concatenate(legs)


def full_cycles(amplitude: float = 3.0, cycles: int = 2, points: int = 400) -> np.ndarray:
    """Deformation: `cycles` full cycles."""
    t = np.linspace(0.0, cycles, 4 * points * cycles + 1)
    return amplitude * np.sin(2.0 * np.pi * t)


def loops(deformation: np.ndarray) -> dict[str, Loop]:
    """The plain and the stiffened law under one history."""
    laws = {"Bouc-Wen": BoucWen(**SHAPE), "stiffened": BoucWenStiffened(**SHAPE)}
    return {name: drive(law, deformation) for name, law in laws.items()}


def forces_at_return(loop: Loop, points: int = 100) -> np.ndarray:
    """Force each time the deformation is back at its peak."""
    return loop.force[points :: 2 * points]


def figure() -> Any:
    """Force against deformation, and force at each return, for both laws; below, that full cycles are the same."""
    import matplotlib.pyplot as plt

    partial, full = loops(partial_cycles()), loops(full_cycles())
    colours = {"Bouc-Wen": "#c0392b", "stiffened": "#1f4e79"}
    fig, (left, middle, right) = plt.subplots(1, 3, figsize=(12.0, 3.8), layout="constrained")
    for name, colour in colours.items():
        thick = 1.0 if name == "Bouc-Wen" else 1.8
        left.plot(partial[name].deformation, partial[name].force, color=colour, lw=thick, label=name)
        middle.plot(forces_at_return(partial[name]), color=colour, marker=".", label=name)
        dash = "-" if name == "Bouc-Wen" else "--"
        right.plot(full[name].deformation, full[name].force, dash, color=colour, lw=thick, label=name)
    left.set(title="50 partial cycles", xlabel="deformation u/uy", ylabel="force F/Fy")
    middle.set(
        title="force at each return to 0.9 uy", xlabel="partial cycle", ylabel="force F/Fy", ylim=(0.0, 0.8)
    )
    right.set(title="full cycles", xlabel="deformation u/uy", ylabel="force F/Fy")
    for axes in (left, middle, right):
        axes.grid(alpha=0.3)
    left.legend()
    return fig


def main(file: str = "partial_cycle_drift.png") -> None:
    """Print the drift and save the figure."""
    for name, loop in loops(partial_cycles()).items():
        force = forces_at_return(loop)
        print(
            f"{name:>10}: {force[0]:.3f} Fy at first, {force[-1]:.3f} Fy after {force.size - 1} partial cycles"
        )
    import matplotlib

    matplotlib.use("Agg")
    figure().savefig(file, dpi=150)
    print(f"figure: {file}")


if __name__ == "__main__":
    main(*sys.argv[1:2])
