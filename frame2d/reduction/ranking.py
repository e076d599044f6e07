"""`rank_cuts`: every candidate cut is built, run and compared with the full frame; the best is found, not guessed."""

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor, Future, as_completed
from dataclasses import replace
from typing import Any

import numpy as np

from frame2d.analysis import Outcome, Response
from frame2d.compare import nrmse, peak_error
from frame2d.errors import InputError, known, within
from frame2d.model import Frame
from frame2d.reduction.cut_model import TestModel, test_model
from frame2d.reduction.cut_ranking import GATE, CutRanking, Ranked, Rig, Weights
from frame2d.reduction.cuts import Cut, candidate_cuts
from frame2d.reduction.fidelity_table import Limits
from frame2d.reduction.models import DAMPING, FrameModel
from frame2d.substructure.lost import end_forces


def rank_cuts(
    frame: Frame,
    records: Sequence[Any],
    cuts: Sequence[Cut] | None = None,
    *,
    rig: Rig | None = None,
    limits: Limits | None = None,
    weights: Weights | None = None,
    least_tested: float = 0.2,
    must_test: Sequence[str] = (),
    weights_on_specimen: bool = False,
    plastic: Mapping[str, float] | None = None,
    damping: Any = DAMPING,
    dt: float | None = None,
    executor: Executor | None = None,
    progress: bool = False,
) -> CutRanking:
    """Build, run and rank `cuts` (all of `candidate_cuts` by default) under `records` (each a record or with a factor).

    Each test model runs as one whole, with the released and restricted freedoms of its cut, and is compared with the
    full frame: worst floor NRMSE (by the denominator of `limits`) and peak, peak base shear, and the energy dissipated by all
    devices together, and by each tested one relative to the tested one that dissipates most.
    A cut is feasible if the `rig` has its actuators and 85 % of their capacities suffice, and if its specimen has the
    devices that it `must_test` and dissipates `least_tested` of all devices' energy. Feasible cuts stand first, by score. `plastic` are plastic moments
    (N·m) of columns, by name, for the share of the moment lost; without them it is that of the largest end moment.
    `executor` runs candidates side by side (threads; same result). Interrupted (Ctrl-C) it returns the candidates run so
    far, flagged.
    """
    listed = list(candidate_cuts(frame) if cuts is None else cuts)
    jobs = [entry if isinstance(entry, tuple) else (entry, 1.0) for entry in records]
    if not jobs or not listed:
        raise InputError(
            f"there are {len(listed)} cuts and {len(jobs)} records; allowed: one or more of each"
        )
    for name in must_test:
        known("device that must be tested", name, frame.devices())
    for name in plastic or {}:
        known("column with a plastic moment", name, frame.members)
    study = _Study(
        frame, jobs, rig or Rig(), limits or Limits(), weights or Weights(),
        within("least_tested", least_tested, 0.0, 1.0), plastic or {}, damping, dt, tuple(must_test),
    )  # fmt: skip
    found, interrupted = _all_entries(study, listed, weights_on_specimen, executor, progress)
    entries = [found[k] for k in sorted(found)]
    ordered = sorted(_fronted(entries), key=lambda entry: (not entry.feasible, entry.score))
    return CutRanking(frame, tuple(ordered), study.rig, study.limits, interrupted, len(listed) - len(entries))


def _all_entries(
    study: "_Study", cuts: list[Cut], weights_on_specimen: bool, executor: Executor | None, progress: bool
) -> tuple[dict[int, Ranked], bool]:
    """Entries by number of their cut, and whether the search was interrupted."""
    found: dict[int, Ranked] = {}
    bar = _bar(len(cuts)) if progress else None
    futures: dict[Future[Ranked], int] = {}
    try:
        if executor is not None:
            futures = {
                executor.submit(study.entry, cut, weights_on_specimen): k for k, cut in enumerate(cuts)
            }
            for future in as_completed(futures):
                found[futures[future]] = future.result()
                if bar is not None:
                    bar.update()
        else:
            for k, cut in enumerate(cuts):
                found[k] = study.entry(cut, weights_on_specimen)
                if bar is not None:
                    bar.update()
    except KeyboardInterrupt:
        for future in futures:
            future.cancel()
        return found, True
    finally:
        if bar is not None:
            bar.close()
    return found, False


def _bar(total: int) -> Any:
    from tqdm import tqdm

    return tqdm(total=total, unit="cut", leave=False)


def _fronted(entries: list[Ranked]) -> list[Ranked]:
    """Marks feasible entries that no other feasible one beats in everything."""

    def goals(entry: Ranked) -> np.ndarray:
        return np.array([entry.error, entry.actuators, entry.force, entry.stroke, entry.lost_share])

    able = [entry for entry in entries if entry.feasible]
    result = []
    for entry in entries:
        own = goals(entry)
        beaten = any(
            np.all(goals(other) <= own) and np.any(goals(other) < own) for other in able if other is not entry
        )
        result.append(replace(entry, best_possible=entry.feasible and not beaten))
    return result


class _Study:
    """The full frame's runs, and the runs of its continuous cut frames, kept for all candidates."""

    def __init__(
        self,
        frame: Frame,
        jobs: list[tuple[Any, float]],
        rig: Rig,
        limits: Limits,
        weights: Weights,
        least_tested: float,
        plastic: Mapping[str, float],
        damping: Any,
        dt: float | None,
        must_test: tuple[str, ...],
    ) -> None:
        self.must_test = must_test
        self.frame, self.jobs, self.rig, self.limits, self.weights = frame, jobs, rig, limits, weights
        self.least_tested, self.plastic, self.damping, self.dt = least_tested, plastic, damping, dt
        self.full = self.run(frame)
        self.kept: dict[tuple[tuple[str, float], ...], tuple[Frame, list[Response]]] = {
            (): (frame, self.full)
        }

    def run(self, frame: Frame) -> list[Response]:
        model = FrameModel(frame.name, frame, self.damping)
        return [model.response(record, factor, self.dt) for record, factor in self.jobs]

    def entry(self, cut: Cut, weights_on_specimen: bool) -> Ranked:
        try:
            built = test_model(self.frame, cut, weights_on_specimen=weights_on_specimen)
            responses = self.run(built.frame)
        except InputError as reason:
            return Ranked(cut, refused=str(reason))
        if any(response.outcome is not Outcome.COMPLETED for response in responses):
            ends = ", ".join(response.outcome.name.lower().replace("_", " ") for response in responses)
            return Ranked(cut, built, refused=f"run: {ends}")
        worst, peak, shear, energy = self.errors(built, responses)
        bounds = self.limits
        uses = [
            abs(value) / bound
            for value, bound in (
                (worst, bounds.nrmse),
                (peak, bounds.peak),
                (shear, bounds.peak),
                (energy, bounds.energy),
            )
            if bound is not None
        ]
        force = stroke = moment = 0.0
        for actuator in built.actuators:
            for response in responses:
                moved, pressed = (float(np.abs(part).max()) for part in built.demand(response, actuator))
                if actuator.turns:
                    moment = max(moment, pressed)
                else:
                    force, stroke = max(force, pressed), max(stroke, moved)
        lost, lost_share = self.lost(cut, built)
        share = self.tested_energy(built, responses)
        refused = self.lacks(built, force, stroke, moment, share)
        error = max(uses, default=0.0)
        count = len(built.actuators)
        use = max(force / self.rig.force, stroke / self.rig.stroke, moment / self.rig.moment)
        w = self.weights
        score = (
            w.error * error
            + w.actuators * count / self.rig.actuators
            + w.capacity * use / GATE
            + w.moment * lost_share
        )
        return Ranked(
            cut, built, worst, peak, shear, energy, error, count, force, stroke, moment, lost, lost_share, share, score,
            not refused, False, refused,
        )  # fmt: skip

    def errors(self, built: TestModel, responses: list[Response]) -> tuple[float, float, float, float]:
        """Worst NRMSE, and worst errors (with sign) of floor peaks, peak base shear and energies over the records."""
        worst, peaks, shears, energies = 0.0, [0.0], [0.0], [0.0]
        for full, other in zip(self.full, responses, strict=True):
            for floor, _ in self.frame.levels():
                x, y = full.floor(floor), other.floor(floor)
                worst = max(worst, nrmse(x, y, self.limits.denominator).value)
                peaks.append(peak_error(x, y))
            shears.append(peak_error(full.base_shear(), other.base_shear()))
            before, after = dissipated(full), dissipated(other)
            total = sum(before.values())
            tested = [name for name in built.parts.tested_members if name in before]
            most = max((before[name] for name in tested), default=0.0)
            if total > 0.0:
                energies.append(sum(after.values()) / total - 1.0)
            if most > 0.0:
                energies += [(after[name] - before[name]) / most for name in tested]
        return worst, max(peaks, key=abs), max(shears, key=abs), max(energies, key=abs)

    def lost(self, cut: Cut, built: TestModel) -> tuple[float, float]:
        """Largest lost moment and its share, from runs of the continuous frame."""
        if not any(component == "rz" for _, component in built.released):
            return 0.0, 0.0
        key = tuple(sorted(cut.columns.items()))
        if key not in self.kept:
            self.kept[key] = (built.continuous, self.run(built.continuous))
        continuous, responses = self.kept[key]
        most, share = 0.0, 0.0
        for node, component in built.released:
            meeting = [
                (name, 2 if node == continuous.members[name].i else 5)
                for name in built.parts.tested_members
                if component == "rz" and node in (continuous.members[name].i, continuous.members[name].j)
            ]
            if not meeting:
                continue
            moments = [
                np.sum([end_forces(r, name)[:, at] for name, at in meeting], axis=0) for r in responses
            ]
            peak = max(float(np.abs(moment).max()) for moment in moments)
            reference = max(self.strength(name) for name, _ in meeting)
            most = max(most, peak)
            share = max(share, peak / reference if reference > 0.0 else 0.0)
        return most, share

    def strength(self, member: str) -> float:
        """Plastic moment of a member or of the column that it is a piece of; else its largest end moment, N·m."""
        whole = member if member in self.frame.members else member.removesuffix(" start").removesuffix(" end")
        return self.plastic[whole] if whole in self.plastic else self.largest_end_moment(whole)

    def largest_end_moment(self, member: str) -> float:
        """Largest end moment of a member of the full frame over the records, N·m."""
        return max(
            float(max(np.abs(ends["M_start"]).max(), np.abs(ends["M_end"]).max()))
            for ends in (response.end_forces(member) for response in self.full)
        )

    def tested_energy(self, built: TestModel, responses: list[Response]) -> float:
        """Share of the dissipated energy that is in tested devices, over all records."""
        tested = set(built.parts.tested_members)
        own = total = 0.0
        for response in responses:
            for name, value in dissipated(response).items():
                total += value
                own += value if name in tested else 0.0
        return own / total if total > 0.0 else 0.0

    def lacks(self, built: TestModel, force: float, stroke: float, moment: float, share: float) -> str:
        """What stands against a cut, in words; empty if nothing does."""
        rig, count = self.rig, len(built.actuators)
        found = []
        if count > rig.actuators:
            found.append(f"{count} actuators of {rig.actuators}")
        if any(actuator.turns for actuator in built.actuators) and not rig.rotary:
            found.append("rotations to drive")
        for what, value, capacity, unit in (
            ("force", force / 1e3, rig.force / 1e3, "kN"),
            ("stroke", 1e3 * stroke, 1e3 * rig.stroke, "mm"),
            ("moment", moment / 1e3, rig.moment / 1e3, "kN·m"),
        ):
            if value > GATE * capacity:
                found.append(f"{what} {value:.0f} over {100 * GATE:.0f} % of {capacity:.0f} {unit}")
        missing = [name for name in self.must_test if name not in built.parts.tested_members]
        if missing:
            found.append(f"does not test {', '.join(missing)}")
        if share < self.least_tested:
            found.append(f"tests {100 * share:.0f} % of the energy, {100 * self.least_tested:.0f} % wanted")
        return "; ".join(found)


def dissipated(response: Response) -> dict[str, float]:
    """Energy (J) that each device dissipated in an analysis, by member."""
    log, members = response.log, response.system.frame.members
    found: dict[str, float] = {}
    for place in response.system.parts:
        if place.part.law is not None and members[place.member].device:
            lost = log.work[:, place.number] - log.stored[:, place.number]
            found[place.member] = found.get(place.member, 0.0) + float(lost[-1] - lost[0])
    return found
