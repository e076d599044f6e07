"""Live view of a test in the terminal: a few lines that rewrite themselves, a few times a second."""

import sys
import time
from typing import TextIO

import numpy as np

from frame2d.hybrid.outcome import Progress


def _bar(share: float, width: int = 12) -> str:
    filled = min(width, round(min(max(share, 0.0), 1.0) * width))
    return "█" * filled + "·" * (width - filled)


def lines(progress: Progress) -> list[str]:
    """The view as text: step, time left, command and measured, errors, and how much of each limit is used."""
    p = progress
    minutes, seconds = divmod(int(p.seconds_left), 60)
    error = float(np.abs(p.reading.displacement - p.target).max())
    values = "  ".join(
        f"{c * 1e3:+9.3f} → {m * 1e3:+9.3f}" for c, m in zip(p.command, p.reading.displacement, strict=True)
    )
    forces = "  ".join(f"{f / 1e3:+10.2f}" for f in p.reading.force)
    used = "  ".join(f"{name} {_bar(share)} {share:4.0%}" for name, share in p.shares.items())
    return [
        f"step {p.step}/{p.steps}   {minutes} min {seconds:02d} s left   {p.state}",
        f"command → measured [mm]  {values}    force [kN]  {forces}",
        f"tracking error {error * 1e3:.3f} mm   energy error {p.hsem:+.2%}",
        f"used of the limits   {used}",
    ]


class Terminal:
    """A view for `HybridTest`: rewrites its lines on a terminal, adds a line now and then to a file or pipe."""

    def __init__(self, sink: TextIO | None = None, every: float = 0.2) -> None:
        self.sink = sink or sys.stderr
        self.moving = self.sink.isatty()
        self.every = every if self.moving else max(every, 5.0)
        self._next = 0.0
        self._height = 0

    def __call__(self, progress: Progress) -> None:
        now = time.monotonic()
        if now < self._next and progress.step < progress.steps:
            return
        self._next = now + self.every
        text = lines(progress)
        if not self.moving:
            self.sink.write("; ".join(text[:3]) + "\n")
            return
        if self._height:
            self.sink.write(f"\x1b[{self._height}A")
        self.sink.write("".join(f"\x1b[2K{line}\n" for line in text))
        self.sink.flush()
        self._height = len(text)
