"""Response spectrum of a polygonal accelerogram, and code spectra."""

import numpy as np

from benchmarks.checks.transient import polygon
from benchmarks.textbook import Answers
from frame2d.motions.en1998 import ElasticSpectrum, damping_correction
from frame2d.motions.record import Record
from frame2d.motions.spectra import response_spectra


def rs_1() -> Answers:
    """Elastic spectrum, observed until 10 s."""
    ground = polygon(0.01)
    record = Record(ground.acceleration, ground.dt, "polygon", synthetic=True)
    periods = np.array([0.1, 0.2, 0.5, 1.0, 2.0])
    continuous = response_spectra(record, periods, 0.05, tail=9.2)
    sampled = response_spectra(record, periods, 0.05, at="samples", tail=9.2)
    answers: Answers = {}
    for k, T in enumerate(periods):
        for name in ("SD", "PSA", "SA", "SV"):
            answers[f"{name}@{T:.1f}"] = float(getattr(continuous, name)[k])
        answers[f"SD10@{T:.1f}"] = float(sampled.SD[k])
    return answers


def rs_2() -> Answers:
    """Elastic spectra of EN 1998-1."""
    answers: Answers = {}
    for kind in (1, 2):
        for ground in "ABCDE":
            spectrum = ElasticSpectrum(2.5, ground, kind)
            for T in (0.0, 0.03, 0.1, 0.5, 1.0, 3.0):
                answers[f"T = {T}@type {kind}, ground {ground}"] = float(spectrum.acceleration(T))
    for per_cent in (0, 2, 5, 10, 20, 40):
        answers[f"eta_{per_cent}"] = damping_correction(per_cent / 100.0)
    for per_cent in (2, 20):
        damped = ElasticSpectrum(2.5, "C", 1, damping=per_cent / 100.0)
        for period in (0.1, 1.0):
            answers[f"C_{per_cent}_{period}"] = float(damped.acceleration(period))
    return answers
