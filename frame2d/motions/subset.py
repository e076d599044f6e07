"""Best subsets of scaled records: every set by exact search, or the best that exchanges find when there are too many.

With rᵢ(T) = ln(fᵢ·Saᵢ/target), means over n records and over the periods,

    bias B = ⟨(⟨rᵢ⟩ₙ)²⟩_T,   scatter S = ⟨⟨rᵢ²⟩_T⟩ₙ,   J = (1 − s)·B + s·S.

B is a quadratic form of G_ij = ⟨rᵢ·rⱼ⟩_T, so a set costs a few sums whatever the number of periods. A set that has
to be raised by a common factor c ≥ 1 to satisfy the suite rule has J + 2·ln c·M + ln²c, M = ⟨⟨rᵢ⟩ₙ⟩_T; the rule, which
needs arithmetic means over all periods, is only looked at when J minus its largest possible gain can still be among
the best. (Derived.)
"""

from dataclasses import dataclass
from math import comb

import numpy as np

from frame2d.kernels import compiled

_NONE = 1e300


@dataclass(frozen=True, eq=False)
class Pool:
    """What the search needs to know of each record, after its own factor."""

    #: ln(f·Sa/target) [record, period].
    log_ratio: np.ndarray
    #: f·peak over ag·S [record].
    peak: np.ndarray
    #: Largest common factor that keeps the record's own within its bounds [record].
    room: np.ndarray


@compiled
def _raise(chosen, ratio, peak, room, share):  # type: ignore[no-untyped-def]
    """Smallest common factor c ≥ 1 with which the set satisfies the rule, 0 if its factors have no room for it."""
    n = chosen.size
    lowest = _NONE
    for t in range(ratio.shape[1]):
        total = 0.0
        for i in range(n):
            total += ratio[chosen[i], t]
        lowest = min(lowest, total)
    top, most = 0.0, _NONE
    for i in range(n):
        top += peak[chosen[i]]
        most = min(most, room[chosen[i]])
    c = max(1.0, max(share * n / lowest, n / top))
    return c if c <= most else 0.0


@compiled
def _keep(score, factor, chosen, scores, factors, sets):  # type: ignore[no-untyped-def]
    """Insert a set into the list of the best, sorted by score."""
    for i in range(scores.size):
        if scores[i] < _NONE and np.all(sets[i] == chosen):
            return
    place = scores.size - 1
    while place > 0 and scores[place - 1] > score:
        scores[place] = scores[place - 1]
        factors[place] = factors[place - 1]
        sets[place] = sets[place - 1]
        place -= 1
    scores[place] = score
    factors[place] = factor
    sets[place] = chosen


@compiled
def _judge(J, M, chosen, ratio, peak, room, share, limit):  # type: ignore[no-untyped-def]
    """Score and common factor of a set; a score of `_NONE` if it is above `limit` or breaks the rule."""
    if share <= 0.0:
        return J, 1.0
    if J - min(M, 0.0) ** 2 >= limit:
        return _NONE, 1.0
    c = _raise(chosen, ratio, peak, room, share)
    if c == 0.0:
        return _NONE, 1.0
    return J + 2.0 * np.log(c) * M + np.log(c) ** 2, c


@compiled
def _every_set(G, M, ratio, peak, room, size, spread, share, scores, factors, sets):  # type: ignore[no-untyped-def]
    """Walk through all sets of `size`, last record innermost, with sums carried from level to level."""
    count = M.size
    chosen = np.zeros(size, dtype=np.int64)
    cross = np.zeros((size, count))  # 2·Σ G over the records chosen so far
    own, form, mean = np.zeros(size), np.zeros(size), np.zeros(size)
    level = 0
    chosen[0] = -1
    scale = 1.0 / size
    visited = 0
    while level >= 0:
        chosen[level] += 1
        if level == size - 1:
            for k in range(chosen[level], count):
                diagonal = G[k, k]
                bias = (form[level] + diagonal + cross[level, k]) * scale * scale
                J = (1.0 - spread) * bias + spread * (own[level] + diagonal) * scale
                low = min((mean[level] + M[k]) * scale, 0.0)
                visited += 1
                if J - low * low < scores[-1]:
                    chosen[level] = k
                    middle = (mean[level] + M[k]) * scale
                    score, c = _judge(J, middle, chosen, ratio, peak, room, share, scores[-1])
                    if score < scores[-1]:
                        _keep(score, c, chosen, scores, factors, sets)
            level -= 1
        elif chosen[level] > count - size + level:
            level -= 1
        else:
            k = chosen[level]
            form[level + 1] = form[level] + G[k, k] + cross[level, k]
            own[level + 1] = own[level] + G[k, k]
            mean[level + 1] = mean[level] + M[k]
            for j in range(count):
                cross[level + 1, j] = cross[level, j] + 2.0 * G[k, j]
            level += 1
            chosen[level] = k
    return visited


@compiled
def _score(chosen, G, M, ratio, peak, room, spread, share, limit):  # type: ignore[no-untyped-def]
    """Score and common factor of one set from scratch."""
    n = chosen.size
    form, own, mean = 0.0, 0.0, 0.0
    for i in range(n):
        own += G[chosen[i], chosen[i]]
        mean += M[chosen[i]]
        for j in range(n):
            form += G[chosen[i], chosen[j]]
    J = (1.0 - spread) * form / (n * n) + spread * own / n
    return _judge(J, mean / n, chosen, ratio, peak, room, share, limit)


@compiled
def _exchange(chosen, G, M, ratio, peak, room, spread, share, scores, factors, sets):  # type: ignore[no-untyped-def]
    """Exchange one record at a time for the one that helps most, until none does; keeps what it meets."""
    trial = chosen.copy()
    best, c = _score(chosen, G, M, ratio, peak, room, spread, share, _NONE)
    if best < scores[-1]:
        _keep(best, c, np.sort(chosen), scores, factors, sets)
    visited = 1
    while True:
        place, new, better = -1, -1, best
        for i in range(chosen.size):
            for k in range(M.size):
                if np.any(chosen == k):
                    continue
                trial[:] = chosen
                trial[i] = k
                score, c = _score(trial, G, M, ratio, peak, room, spread, share, max(better, scores[-1]))
                visited += 1
                if score < scores[-1]:
                    _keep(score, c, np.sort(trial), scores, factors, sets)
                if score < better:
                    place, new, better = i, k, score
        if place < 0:
            return visited
        chosen[place] = new
        best = better


def best_sets(
    pool: Pool,
    size: int,
    *,
    spread: float,
    share: float,
    keep: int,
    exact_limit: float,
    seed: int,
    starts: int,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, bool, int]:
    """Scores, common factors and sets [keep, size] of the best, whether the search was exact, and sets looked at.

    Above `exact_limit` sets, exchanges start from the best records alone and from `starts` seeded random sets. A
    place that no set fills has an infinite score. `share` 0 switches the rule off.
    """
    r = np.ascontiguousarray(pool.log_ratio)
    count, periods = r.shape
    G, M, ratio = r @ r.T / periods, r.mean(axis=1), np.exp(r)
    scores, factors = np.full(keep, _NONE), np.ones(keep)
    sets = np.zeros((keep, size), dtype=np.int64)
    args = (G, M, ratio, pool.peak, pool.room)
    exact = comb(count, size) <= exact_limit
    if exact:
        visited = _every_set(*args, size, spread, share, scores, factors, sets)
    else:
        rng = np.random.default_rng(seed)
        first = [np.argsort(np.diag(G))[:size]]
        visited = 0
        for start in first + [rng.choice(count, size, replace=False) for _ in range(starts)]:
            visited += _exchange(start.astype(np.int64), *args, spread, share, scores, factors, sets)
    return np.where(scores >= _NONE, np.inf, scores), factors, sets, exact, int(visited)
