"""Ground motions of the demo, all synthetic and invented: a pool, a suite and the one record of each limit state."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from frame2d.motions import (
    EN1998_3,
    Choice,
    Criterion,
    ElasticSpectrum,
    Envelope,
    Record,
    Selection,
    candidates,
    choose_per_limit_state,
    select_suite,
    synthetic_record,
)

#: 475 years on ground B, EN 1998-1 type 1; the ground acceleration is invented.
TARGET = ElasticSpectrum(ag=2.5, ground="B")
LIMIT_STATES = EN1998_3
#: One step for records, computed part and test (s).
DT = 0.005
#: Bounds of scale factors (common practice, no source).
BOUNDS = (0.25, 4.0)


class Motions(NamedTuple):
    """Pool, suite of the 475-year target (the other limit states scale it), and choices by limit state."""

    pool: list[Record]
    suite: Selection
    choices: dict[str, Choice]

    def suites(self) -> dict[str, list[Record]]:
        """The suite's records at each limit state."""
        return {
            state.name: [record.scaled(state.factor()) for record in self.suite.best.scaled()]
            for state in LIMIT_STATES
        }


def demo_record(quick: bool = False) -> Record:
    """One synthetic record matched to the target, for benchmarks; 20 s, or 6 s."""
    envelope = Envelope(1.0, 3.0, 2.0) if quick else Envelope(2.0, 10.0, 8.0)
    return synthetic_record(TARGET, seed=7, dt=DT, envelope=envelope, name="synthetic record", tolerance=0.15)


def demo_pool(quick: bool = False) -> list[Record]:
    """Synthetic records of other sites and grounds, so that they fit the target about as well as recorded ones would."""
    envelope = Envelope(1.0, 2.0, 1.5) if quick else Envelope(2.0, 10.0, 6.0)
    rng = np.random.default_rng(475)
    pool = []
    for number in range(1, 6 if quick else 13):
        site = ElasticSpectrum(ag=rng.uniform(1.5, 3.0), ground="ABC"[rng.integers(3)])
        pool.append(
            synthetic_record(
                site, rng, dt=DT, envelope=envelope, tolerance=0.3, periods=np.geomspace(0.05, 3.0, 14),
                name=f"S{number:02d}",
            )
        )  # fmt: skip
    return pool


def demo_suite(pool: Sequence[Record], T1: float, size: int = 3) -> Selection:
    """The best suite of the pool for the 475-year target, by the rules for artificial records."""
    return select_suite(candidates(pool, TARGET, T1, bounds=BOUNDS), size, kind="artificial")


def demo_choices(
    pool: Sequence[Record], T1: float, criteria: Mapping[str, Sequence[Criterion]] | None = None
) -> dict[str, Choice]:
    """The one record of each limit state, by spectral fit and further `criteria`."""
    return choose_per_limit_state(pool, TARGET, T1, LIMIT_STATES, criteria, bounds=BOUNDS)


__all__ = [
    "BOUNDS",
    "DT",
    "LIMIT_STATES",
    "TARGET",
    "Motions",
    "demo_choices",
    "demo_pool",
    "demo_record",
    "demo_suite",
]
