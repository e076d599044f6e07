"""`Campaign`: limit states in order, inspection and replacement between them, every finished test stored at once.

Folder of a campaign: one folder a limit state ("1_damage_limitation") with `measured.h5`, `response.h5` where there is
one, `state.h5` (after the test and the works) and, written last, `result.json`. A campaign that is started again takes
over what is there as long as it was run with the same frame, options, record and factors, and goes on behind it.
"""

import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from frame2d.analysis.response import Response
from frame2d.campaign.capacities import Criteria
from frame2d.campaign.inspection import Finding, Inspection, inspect, inspect_fit
from frame2d.campaign.limit_states import LimitState, check_order
from frame2d.campaign.measured import Measured
from frame2d.campaign.replacement import Replacement
from frame2d.campaign.runner import Run, Runner
from frame2d.campaign.wear import Wear, renewed, worn
from frame2d.errors import Frame2dError, known
from frame2d.written import folder_at, written

FORMAT = "frame2d/campaign result/1"


@dataclass(frozen=True)
class Result:
    """One finished limit state. Drifts are ratios, periods s; `wear` is the devices' before replacement."""

    limit_state: str
    key: str
    record: str
    factor: float
    repeats: str | None
    measured: Measured
    residual: dict[str, float]
    inspection: Inspection
    wear: dict[str, Wear]
    replacement: Replacement | None
    fit: tuple[Finding, ...]
    #: First period of small vibrations before the test, after it, and after the works.
    periods: tuple[float | None, float | None, float | None]
    seconds: float
    folder: Path | None = None
    #: Whether it was read from disk instead of run.
    resumed: bool = False

    @property
    def goes_on(self) -> bool:
        """Whether another test may follow."""
        return self.measured.completed

    def response(self) -> Response:
        """The stored `Response`; raises `Frame2dError` where none was stored."""
        path = None if self.folder is None else self.folder / "response.h5"
        if path is None or not path.is_file():
            raise Frame2dError(f"no response of {self.limit_state!r} was stored; give the campaign a folder")
        from frame2d.analysis import storage

        return storage.load(path)

    def as_data(self) -> dict[str, Any]:
        """Plain data: everything but the histories."""
        test = self.measured
        return {
            "limit_state": self.limit_state, "key": self.key, "record": self.record, "factor": self.factor,
            "repeats": self.repeats, "origin": test.origin, "outcome": test.outcome, "completed": test.completed,
            "collapsed": test.collapsed,
            "peak_drift": {name: float(abs(d).max()) for name, d in test.drifts.items()},
            "residual_drift": self.residual,
            "peak_base_shear_N": float(abs(test.shear).max()), "peak_roof_m": float(abs(test.roof).max()),
            "energies_J": {name: float(values[-1]) for name, values in test.energies.items()},
            "energy_imbalance": test.imbalance, "counts": test.counts,
            "devices": {
                name: {
                    "peak_deformation": float(abs(loop.deformation).max()),
                    "peak_force": float(abs(loop.force).max()),
                    "lost_J": float(loop.lost[-1]), "unit": "rad" if loop.turns else "m",
                }
                for name, loop in test.devices.items()
            },
            "strain": test.strain, "inspection": self.inspection.as_data(),
            "replacement": None if self.replacement is None else self.replacement.as_data(),
            "fit": [finding.as_data() for finding in self.fit], "periods_s": list(self.periods),
            "seconds": self.seconds,
        }  # fmt: skip


class Campaign:
    """Ordered limit states on one `Runner`, judged by `criteria`, stored in `folder` (None: in memory only)."""

    def __init__(
        self,
        runner: Runner,
        limit_states: Sequence[LimitState],
        criteria: Criteria | None = None,
        folder: Any = None,
        echo: Callable[[str], Any] | None = None,
    ) -> None:
        check_order(limit_states)
        self.runner, self.limit_states = runner, tuple(limit_states)
        self.criteria = criteria or Criteria()
        self.folder = None if folder is None else Path(folder)
        self.echo = echo or (lambda text: None)
        for state in self.limit_states:
            state.devices(runner.devices)

    def run(self, until: str | None = None) -> list[Result]:
        """Run, or take over, all limit states up to `until`; ends early where a test was not completed.

        An interruption (Ctrl-C) loses the test under way and nothing else.
        """
        if until is not None:
            known("limit state", until, [state.name for state in self.limit_states])
        chain = sha256(
            json.dumps([self.runner.identity(), repr(self.criteria)], sort_keys=True).encode()
        ).hexdigest()
        results: list[Result] = []
        wear: dict[str, Wear] = {}
        carried: Any = None
        behind: Path | None = None
        for number, limit_state in enumerate(self.limit_states, start=1):
            chain = sha256((chain + json.dumps(limit_state.identity(), sort_keys=True)).encode()).hexdigest()
            place = None if self.folder is None else self.folder / f"{number}_{limit_state.key}"
            first = next((r for r in results if r.limit_state == limit_state.repeats), None)
            result = self._stored(place, chain)
            if result is None:
                if carried is None:
                    carried = self.runner.begin() if behind is None else self.runner.load(behind)
                result, carried = self._run_one(limit_state, carried, wear, first, place, chain)
                self.echo(f"{limit_state.name}: {result.measured.outcome}; {result.inspection.verdict}")
            else:
                carried = None
                self.echo(f"{limit_state.name}: taken over from {place}")
            results.append(result)
            wear = result.wear
            if result.replacement is not None:
                wear = renewed(wear, [name for group in result.replacement.groups for name in group])
            behind = None if place is None else place / "state.h5"
            if not result.goes_on or limit_state.name == until:
                break
        return results

    def _run_one(
        self,
        limit_state: LimitState,
        state: Any,
        wear: dict[str, Wear],
        first: Result | None,
        place: Path | None,
        chain: str,
    ) -> tuple[Result, Any]:
        begun = time.perf_counter()
        before = self.runner.period(state)
        run = self.runner.run(limit_state, state, self.criteria)
        if place is not None:
            # At once: whatever happens afterwards, the histories are kept.
            self._keep(run, place)
        now = worn(wear, run.measured)
        if first is None:
            inspection = inspect(run.measured, run.residual, now, self.criteria, limit_state.name)
        else:
            inspection = inspect(
                run.measured, run.residual, now, self.criteria, limit_state.name, first.measured,
                (first.periods[0], before),
            )  # fmt: skip
        after = None if run.state is None else self.runner.period(run.state)
        carried, replacement, fresh = run.state, None, None
        fit: tuple[Finding, ...] = ()
        devices = limit_state.devices(self.runner.devices)
        if run.state is not None and devices:
            carried, replacement = self.runner.replace(limit_state, run.state, devices)
            fit = inspect_fit(replacement, self.criteria)
            fresh = self.runner.period(carried)
        name = getattr(limit_state.record, "label", getattr(limit_state.record, "name", "record"))
        result = Result(
            limit_state.name, limit_state.key, str(name), limit_state.factor, limit_state.repeats, run.measured,
            run.residual, inspection, now, replacement, fit, (before, after, fresh),
            round(time.perf_counter() - begun, 3), place,
        )  # fmt: skip
        if place is not None:
            self._store(result, carried, place, chain)
        return result, carried

    def _keep(self, run: Run, place: Path) -> None:
        folder_at(place)
        for name in ("result.json", "state.h5", "response.h5"):
            (place / name).unlink(missing_ok=True)
        run.measured.save(place / "measured.h5")
        if run.response is not None:
            run.response.save(place / "response.h5")

    def _store(self, result: Result, state: Any, place: Path, chain: str) -> None:
        if state is not None:
            self.runner.save(state, place / "state.h5")
        data = {
            "format": FORMAT, "chain": chain, **result.as_data(),
            "wear": {name: wear.as_data() for name, wear in result.wear.items()},
        }  # fmt: skip
        with written(place / "result.json") as beside:
            beside.write_text(json.dumps(data, indent=1, ensure_ascii=False), encoding="utf-8")

    def _stored(self, place: Path | None, chain: str) -> Result | None:
        """Result on disk, if it belongs to this campaign."""
        if place is None or not (place / "result.json").is_file():
            return None
        data = json.loads((place / "result.json").read_text(encoding="utf-8"))
        if data.get("format") != FORMAT or data.get("chain") != chain:
            return None
        return from_data(data, place)


def from_data(data: dict[str, Any], place: Path) -> Result:
    """Result of a folder from its `result.json` and `measured.h5`."""
    keys = ("criterion", "thing", "demand", "capacity", "unit", "definition")
    before, after, fresh = data["periods_s"]
    return Result(
        data["limit_state"], data["key"], data["record"], data["factor"], data["repeats"],
        Measured.load(place / "measured.h5"), data["residual_drift"], Inspection.from_data(data["inspection"]),
        {name: Wear.from_data(entry) for name, entry in data["wear"].items()},
        None if data["replacement"] is None else Replacement.from_data(data["replacement"]),
        tuple(Finding(**{key: entry[key] for key in keys}) for entry in data["fit"]),
        (before, after, fresh), data["seconds"], place, resumed=True,
    )  # fmt: skip
