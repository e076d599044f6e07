"""Speed of spectra and of the exact suite search, beside plain scipy and numpy solutions of part of the same task.

Each reference solves a stated part in the same run and is extrapolated by its cost per oscillator step, or per set.
"""

import time
from collections.abc import Callable
from functools import cache
from itertools import combinations, islice
from math import comb
from typing import Any

import numpy as np
from scipy.signal import cont2discrete, lfilter, lsim

from frame2d.motions import Record, response_spectra
from frame2d.motions.subset import Pool, best_sets

RECORDS, SAMPLES, DT, DAMPING = 100, 20_000, 0.005, 0.05
PERIODS = np.geomspace(0.02, 4.0, 200)
POOL, SIZE, RULE_PERIODS = 40, 7, 100


def invented_suite(count: int = RECORDS, samples: int = SAMPLES) -> list[Record]:
    """Filtered noise under a hull: invented, for timing only."""
    rng = np.random.default_rng(1)
    hull = np.sin(np.pi * np.arange(samples) / samples)
    return [
        Record(hull * lfilter([1.0], [1.0, -0.9], rng.normal(size=samples)), DT, f"noise {i}", True)
        for i in range(count)
    ]


def invented_pool() -> Pool:
    """Log ratios that wander over the periods as those of records do: invented, for timing only."""
    rng = np.random.default_rng(2)
    r = 0.06 * rng.normal(size=(POOL, RULE_PERIODS)).cumsum(axis=1)
    r -= r.mean(axis=1, keepdims=True)
    return Pool(r, rng.uniform(0.6, 1.3, POOL), rng.uniform(1.2, 4.0, POOL))


def seconds(run: Callable[[], Any], repeats: int) -> np.ndarray:
    """Seconds of each of `repeats` runs after one that is not counted."""
    run()
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        run()
        taken.append(time.perf_counter() - start)
    return np.array(taken)


def by_lsim(record: Record, period: float) -> float:
    """Largest sampled displacement by scipy's solver for linear interpolation."""
    w = 2.0 * np.pi / period
    _, u, _ = lsim(([-1.0], [1.0, 2.0 * DAMPING * w, w * w]), record.acceleration, record.time)
    return float(np.max(np.abs(u)))


@cache
def _filter(period: float) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients of one oscillator, found once for the whole suite and not timed."""
    w = 2.0 * np.pi / period
    b, a, _ = cont2discrete(([-1.0], [1.0, 2.0 * DAMPING * w, w * w]), DT, "foh")
    return b.ravel(), a


def by_lfilter(record: Record, period: float) -> float:
    """The same by scipy's compiled recursive filter, first-order hold."""
    return float(np.max(np.abs(lfilter(*_filter(period), record.acceleration))))


def by_numpy(pool: Pool, sets: np.ndarray) -> np.ndarray:
    """Score of each set whose mean spectrum and peak satisfy the rule, vectorised; infinite for the others."""
    r = pool.log_ratio[sets]
    bias = np.mean(r.mean(axis=1) ** 2, axis=1)
    score = 0.9 * bias + 0.1 * np.mean(r**2, axis=(1, 2))
    fine = np.exp(r).mean(axis=1).min(axis=1) >= 0.9
    return np.where(fine & (pool.peak[sets].mean(axis=1) >= 1.0), score, np.inf)


def figures(repeats: int = 3) -> list[dict[str, Any]]:
    """One row a figure: name, value (median), unit, low, high, goal, ok."""
    return [*spectra_figures(repeats), *search_figures(repeats)]


def spectra_figures(repeats: int = 3, records: int = RECORDS, samples: int = SAMPLES) -> list[dict[str, Any]]:
    """Time of the whole suite, and scipy's over it."""
    suite = invented_suite(records, samples)
    steps = float(records * samples * PERIODS.size)
    exact = seconds(lambda: response_spectra(suite, PERIODS, DAMPING, tail=0.0), repeats)
    sampled = seconds(lambda: response_spectra(suite, PERIODS, DAMPING, tail=0.0, at="samples"), repeats)
    whole = f"{records} records × {samples} samples × {PERIODS.size} periods"
    rows = [
        _row(f"spectra, {whole}, peaks inside steps too", exact, "s", 5.0),
        _row("the same, peaks at samples", sampled, "s", 5.0),
    ]
    references = (
        ("scipy.signal.lsim", by_lsim, suite[:1], PERIODS[::50]),
        ("scipy.signal.lfilter", by_lfilter, suite[:2], PERIODS[::10]),
    )
    for name, solve, some, periods in references:

        def part(solve: Any = solve, some: Any = some, periods: Any = periods) -> None:
            for record in some:
                for period in periods:
                    solve(record, period)

        taken = seconds(part, repeats) * steps / (len(some) * samples * periods.size)
        said = (
            f"{name} over ours, peaks at samples (extrapolated from {len(some) * periods.size} oscillators)"
        )
        rows.append(_row(said, taken / np.median(sampled), "×", None))
    return rows


def search_figures(repeats: int = 3) -> list[dict[str, Any]]:
    """Time of the exact search, and numpy's over it."""
    pool = invented_pool()
    options: dict[str, Any] = {
        "spread": 0.1,
        "share": 0.9,
        "keep": 5,
        "exact_limit": 1e12,
        "seed": 0,
        "starts": 1,
    }
    count = comb(POOL, SIZE)
    ours = seconds(lambda: best_sets(pool, SIZE, **options), repeats)
    sets = np.array(list(islice(combinations(range(POOL), SIZE), 20_000)))
    plain = seconds(lambda: by_numpy(pool, sets), repeats) * count / len(sets)
    return [
        _row(f"best {SIZE} of {POOL}, all {count / 1e6:.1f} million sets", ours, "s", 30.0),
        _row(
            f"numpy, vectorised, over ours (extrapolated from {len(sets)} sets)",
            plain / np.median(ours),
            "×",
            None,
        ),
    ]


def _row(name: str, values: np.ndarray, unit: str, most: float | None) -> dict[str, Any]:
    value = float(np.median(values))
    return {
        "name": name,
        "value": value,
        "unit": unit,
        "low": float(values.min()),
        "high": float(values.max()),
        "goal": "" if most is None else f"below {most:g} {unit}",
        "ok": None if most is None else value < most,
    }


if __name__ == "__main__":
    for row in figures():
        print(
            f"{row['value']:10.4g} {row['unit']}  ({row['low']:.4g} to {row['high']:.4g})  {row['name']}  {row['goal']}"
        )
