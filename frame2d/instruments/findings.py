"""What is wrong with a column of readings: bad time stamps, gaps, flat lines, spikes, steps. Nothing is changed here."""

from dataclasses import dataclass

import numpy as np

from frame2d.errors import positive

#: √2·erfinv(½)⁻¹: from the median absolute deviation of normal noise to its standard deviation.
NORMAL = 1.4826


@dataclass(frozen=True)
class Finding:
    """One thing found in one channel (or in the time stamps of one clock), from `begin` to `end` (s)."""

    channel: str
    kind: str
    begin: float
    end: float
    text: str

    def __str__(self) -> str:
        return f"{self.channel}: {self.kind} at {self.begin:.6g} to {self.end:.6g} s: {self.text}"


def check_times(clock: str, time: np.ndarray) -> list[Finding]:
    """Stamps that are missing, stand still, run backwards, or leave more than 1.5 times the usual step."""
    t = np.asarray(time, dtype=float)
    found = []
    lost = np.flatnonzero(~np.isfinite(t))
    if lost.size:
        near = t[np.isfinite(t)]
        at = float(near[0]) if near.size else 0.0
        found.append(
            Finding(clock, "missing time", at, at, f"{lost.size} stamps, the first at sample {lost[0]}")
        )
    good = t[np.isfinite(t)]
    step = np.diff(good)
    for kind, where in (("time runs backwards", step < 0.0), ("time stands still", step == 0.0)):
        for i in np.flatnonzero(where):
            found.append(Finding(clock, kind, float(good[i]), float(good[i + 1]), f"by {step[i]:g} s"))
    usual = float(np.median(step[step > 0.0])) if np.any(step > 0.0) else 0.0
    for i in np.flatnonzero(step > 1.5 * usual):
        lost_samples = round(float(step[i]) / usual) - 1
        found.append(
            Finding(
                clock, "time gap", float(good[i]), float(good[i + 1]), f"{lost_samples} samples are missing"
            )
        )
    return found


def runs(mask: np.ndarray) -> list[tuple[int, int]]:
    """First and last index of each run of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(int)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def find_gaps(channel: str, time: np.ndarray, values: np.ndarray) -> list[Finding]:
    """Runs of NaN."""
    return [
        Finding(channel, "gap", float(time[a]), float(time[b]), f"{b - a + 1} samples")
        for a, b in runs(~np.isfinite(values))
    ]


def find_flat(
    channel: str,
    time: np.ndarray,
    values: np.ndarray,
    *,
    shortest: float,
    reference: np.ndarray | None = None,
) -> list[Finding]:
    """Runs of exactly equal readings of at least `shortest` (s); where a moving `reference` is given, only while it
    moves by more than 1 % of its range."""
    positive("shortest", shortest)
    same = np.concatenate([[False], values[1:] == values[:-1]])
    found = []
    for a, b in runs(same):
        a -= 1
        if time[b] - time[a] < shortest:
            continue
        if reference is not None:
            during = reference[a : b + 1]
            if np.ptp(during) < 0.01 * max(float(np.nanmax(reference) - np.nanmin(reference)), 1e-300):
                continue
        found.append(
            Finding(
                channel, "flat line", float(time[a]), float(time[b]), f"{b - a + 1} samples of {values[a]:g}"
            )
        )
    return found


def find_jumps(channel: str, time: np.ndarray, values: np.ndarray, *, factor: float = 12.0) -> list[Finding]:
    """Spikes (a sample or two away from both sides) and steps (the level changes and stays).

    A change between neighbours counts when it departs from the median of the changes around it by more than `factor`
    standard deviations, estimated from the median absolute departure in the column and within 12 samples (after
    Hampel 1974, from memory), and by more than 1 % of the column's range.
    """
    good = np.flatnonzero(np.isfinite(values))
    x = values[good]
    if x.size < 26:
        return []
    change = np.diff(x)
    around = np.lib.stride_tricks.sliding_window_view(np.pad(change, 4, mode="reflect"), 9)
    departure = change - np.median(around, axis=1)
    size = np.abs(departure)
    near = np.lib.stride_tricks.sliding_window_view(np.pad(size, 12, mode="reflect"), 25)
    spread = NORMAL * np.maximum(np.median(near, axis=1), float(np.median(size)))
    bad = np.flatnonzero((size > factor * spread) & (size > 0.01 * float(np.ptp(x))))
    found: list[Finding] = []
    k = 0
    while k < bad.size:
        i = int(bad[k])
        back = [int(j) for j in bad[k + 1 :] if j <= i + 3 and departure[j] * departure[i] < 0.0]
        returned = [j for j in back if abs(departure[j] + departure[i]) < 0.5 * abs(departure[i])]
        if returned:
            a, b = good[i + 1], good[returned[0]]
            found.append(
                Finding(
                    channel, "spike", float(time[a]), float(time[b]), f"of {departure[i]:.3g} in its unit"
                )
            )
            while k < bad.size and bad[k] <= returned[0]:
                k += 1
            continue
        a, b = good[i], good[i + 1]
        found.append(
            Finding(channel, "step", float(time[a]), float(time[b]), f"of {departure[i]:.3g} in its unit")
        )
        k += 1
    return found


def find(
    channel: str,
    time: np.ndarray,
    values: np.ndarray,
    *,
    shortest: float,
    reference: np.ndarray | None = None,
) -> list[Finding]:
    """Gaps, flat lines, spikes and steps of one column."""
    return [
        *find_gaps(channel, time, values),
        *find_flat(channel, time, values, shortest=shortest, reference=reference),
        *find_jumps(channel, time, values),
    ]
