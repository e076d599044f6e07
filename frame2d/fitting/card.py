"""Device cards: a fitted law as a JSON file that rebuilds it, with all that its numbers rest on."""

import json
import platform
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import frame2d
from frame2d.component_tests import CyclicTest
from frame2d.errors import InputError
from frame2d.fitting.measured import AnyTest, checksum
from frame2d.fitting.result import Fit
from frame2d.fitting.scores import ACCEPTED, Errors
from frame2d.materials import Law, build
from frame2d.written import written

FORMAT = "frame2d device card"
EDITION = 1


@dataclass(frozen=True)
class Card:
    """A card that was read: the law, ready for use, and everything else on the card as plain data."""

    law: Law
    data: dict[str, Any]

    def fits(self, test: AnyTest) -> bool:
        """Whether these very histories are among those that the law was fitted to, by their checksum."""
        return any(entry["sha256"] == checksum(test) for entry in self.data["tests"])


def card_of(fit: Fit, note: str = "") -> dict[str, Any]:
    """The card as plain data."""
    length, load = fit.tests[0].units
    return {
        "format": FORMAT,
        "edition": EDITION,
        "note": note,
        "law": fit.law.describe(),
        "units": {"deformation": length, "force": load, "all else": "SI, built from these"},
        "interrupted": fit.interrupted,
        "form": fit.form,
        "parameters": [_parameter(p) for p in fit.parameters],
        "correlation": {
            "names": [p.name for p in fit.fitted],
            "matrix": np.round(fit.correlation, 6).tolist(),
        },
        "intervals": {"level": fit.level, "estimator": fit.estimator},
        "noise": [
            {"test": n.test, "sigma": n.sigma, "white": n.white, "autocorrelation time (samples)": n.tau}
            for n in fit.noise
        ],
        "not determined": [[list(share) for share in d.shares] for d in fit.uncertainty.directions],
        "tests": [_test(t, e) for t, e in zip(fit.tests, fit.errors, strict=True)],
        "held back": [_test(t, e) for t, e in zip(fit.held_back_tests, fit.held_back, strict=True)],
        "acceptance": {"bounds": ACCEPTED, "source": "common practice, no source", "accepted": fit.accepted},
        "search": {"seed": fit.seed, "evaluations": fit.evaluations, "score": fit.score, **fit.settings},
        "made with": {
            "frame2d": frame2d.__version__,
            "python": platform.python_version(),
            "numpy": np.__version__,
        },
    }


def save_card(fit: Fit, path: str | Path, *, note: str = "") -> Path:
    """Write the card of a fit as JSON; it appears whole or not at all. Returns its path."""
    target = Path(path)
    text = json.dumps(card_of(fit, note), indent=1, ensure_ascii=False, allow_nan=False)
    with written(target) as beside:
        beside.write_text(text + "\n", encoding="utf-8")
    return target


def load_card(path: str | Path) -> Card:
    """Read a card and rebuild its law, bit for bit; raises `InputError` for what is no card of this edition.

    A law of one's own must be registered first.
    """
    try:
        data = json.loads(Path(path).read_text(encoding="utf-8"))
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"card {path} is no JSON: {error}") from None
    if not isinstance(data, dict) or data.get("format") != FORMAT or "law" not in data:
        raise InputError(f"card {path} is not a {FORMAT}; allowed: what `save_card` wrote")
    if data.get("edition") != EDITION:
        raise InputError(f"card {path} is of edition {data.get('edition')!r}; allowed: {EDITION}")
    return Card(build(data["law"]), data)


def _parameter(p: Any) -> dict[str, Any]:
    entry = {"name": p.name, "value": p.value, "status": p.status}
    if p.bounds is not None:
        entry |= {
            "interval": [p.low, p.high],
            "method": p.interval,
            "bounds": list(p.bounds),
            "source": p.source,
        }
    if p.rule:
        entry["rule"] = p.rule
    return entry


def _test(test: AnyTest, errors: Errors) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "name": test.name,
        "samples": errors.samples,
        "sha256": checksum(test),
        "force NRMSE": errors.force,
        "denominator": {
            "definition": "max − min of the measured " + errors.quantity,
            "value": errors.denominator,
        },
        "energy": {"rms": errors.energy, "end": errors.end_energy, "denominator": "max |∫F du| measured"},
        "peaks": {
            "positive": errors.positive_peak,
            "negative": errors.negative_peak,
            "noise explains": errors.noise_share,
        },
        "accepted": errors.accepted,
    }
    if isinstance(test, CyclicTest):
        entry |= {"file sha256": test.checksum, "processing": list(test.processing)}
    return entry
