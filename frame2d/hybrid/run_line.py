"""Line of a rehearsal in the terminal: run k of n, limits hit so far, time left; a few times a second."""

import sys
from collections import Counter
from types import TracebackType
from typing import Any, TextIO

from frame2d.hybrid.virtual import VirtualRun


class RunLine:
    """Counts virtual tests as they end, on a line that rewrites itself; to a file or pipe a line now and then.

    A context: the line is gone when it ends. `shown` false counts without a word.
    """

    def __init__(self, runs: int, sink: TextIO | None = None, shown: bool = True) -> None:
        self.runs, self.done = runs, 0
        self.hits: Counter[str] = Counter()
        self._bar: Any = None
        if shown:
            from tqdm import tqdm

            out = sys.stderr if sink is None else sink
            self._bar = tqdm(
                total=runs, file=out, leave=False, miniters=1, mininterval=0.3 if out.isatty() else 5.0,
                bar_format="run {n_fmt} of {total_fmt}; {desc}; {remaining} left", desc=self.text,
            )  # fmt: skip

    @property
    def text(self) -> str:
        """Limits hit so far, with the number of runs that hit them."""
        told = ", ".join(f"{name} {count}" for name, count in sorted(self.hits.items()))
        return f"limits hit so far: {told or 'none'}"

    def __call__(self, run: VirtualRun) -> None:
        """One more run has ended."""
        self.done += 1
        self.hits.update(name for name, step in run.hit.items() if step > 0)
        if not run.completed:
            self.hits["breakdown"] += 1
        if self._bar is not None:
            self._bar.set_description_str(self.text, refresh=False)
            self._bar.update()

    def __enter__(self) -> "RunLine":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.close()


__all__ = ["RunLine"]
