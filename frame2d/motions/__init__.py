"""Ground motions: records, processing, spectra, targets, synthetic and adjusted records, and their selection.

| name | gives | source |
| --- | --- | --- |
| `Record` | one ground acceleration (m/s²) with step, provenance, raw kept beside | |
| `read_text` | a record from plain text or CSV; explicit step, units, columns, skipped lines | |
| `read_strong_motion` | records of a format that ObsPy knows, calibrated (extra `records`) | |
| `baseline`, `taper`, `band_pass`, `resample`, `zero_end` | a new record, processed | Boore & Bommer 2005 |
| `measures`, `pga`, `pgv`, `pgd`, `arias`, `significant_duration`, `cumulative_absolute_velocity` | intensity \
measures | Arias 1970; Trifunac & Brady 1975; EPRI 1988 |
| `velocity`, `displacement` | ground velocity and displacement | |
| `response_spectra`, `response_history` | elastic spectra, exact between samples; u and u̇ | Nigam & Jennings 1969 |
| `ductility_spectra`, `bilinear_history` | strength for constant ductility; one oscillator | Veletsos & Newmark 1960 |
| `ElasticSpectrum`, `VerticalSpectrum`, `DesignSpectrum` | targets, types 1 and 2, grounds A to E | EN 1998-1:2004, 3.2.2 |
| `GivenTarget`, `displacement_spectrum` | a target from a table; displacements of any target | |
| `LimitState`, `EN1998_1`, `EN1998_3`, `EN1998_DRAFT`, `hazard_factor`, `return_period` | return periods | EN 1998-1, 2.1 |
| `synthetic_record`, `synthetic_suite`, `Envelope`, `Pulse` | artificial records that match a target, labelled | \
Gasparini & Vanmarcke 1976; Mavroeidis & Papageorgiou 2003 |
| `adjust` | a record adjusted to a target by wavelets | Lilhanand & Tseng 1988; Al Atik & Abrahamson 2010 |
| `check_suite` | pass/fail table of the suite rules | EN 1998-1, 3.2.3.1.2 and 3.2.3.1.3 |
| `candidates`, `select_suite` | factors within bounds; the best suites, all sets or exchanges | |
| `choose_record`, `choose_per_limit_state`, `Criterion`, `distance_from_median` | the one record of a test | |

Pictures of all this are in `frame2d.show.motion_plots`.
"""

from frame2d.motions.adjustment import Adjustment, adjust
from frame2d.motions.choice import (
    Choice,
    Criterion,
    choose_per_limit_state,
    choose_record,
    distance_from_median,
)
from frame2d.motions.ductility import DuctilitySpectra, bilinear_history, ductility_spectra
from frame2d.motions.en1998 import (
    DesignSpectrum,
    ElasticSpectrum,
    Shape,
    VerticalSpectrum,
    damping_correction,
)
from frame2d.motions.hazard import EN1998_1, EN1998_3, EN1998_DRAFT, LimitState, hazard_factor, return_period
from frame2d.motions.measures import (
    Measures,
    arias,
    cumulative_absolute_velocity,
    displacement,
    measures,
    pga,
    pgd,
    pgv,
    significant_duration,
    velocity,
)
from frame2d.motions.processing import band_pass, baseline, end_of, resample, taper, zero_end
from frame2d.motions.pulse import Pulse
from frame2d.motions.reading import read_text
from frame2d.motions.record import UNITS, Record, RecordWarning
from frame2d.motions.scaling import Candidates, candidates
from frame2d.motions.seismology import read_strong_motion
from frame2d.motions.selection import Selection, Suite, select_suite
from frame2d.motions.spectra import Spectra, response_history, response_spectra
from frame2d.motions.suite_rules import Check, SuiteReport, check_suite
from frame2d.motions.synthetic import Envelope, synthetic_record, synthetic_suite
from frame2d.motions.target import GivenTarget, Target, displacement_spectrum

__all__ = [
    "EN1998_1", "EN1998_3", "EN1998_DRAFT", "UNITS", "Adjustment", "Candidates", "Check", "Choice", "Criterion",
    "DesignSpectrum", "DuctilitySpectra", "ElasticSpectrum", "Envelope", "GivenTarget", "LimitState", "Measures",
    "Pulse", "Record", "RecordWarning", "Selection", "Shape", "Spectra", "Suite", "SuiteReport", "Target",
    "VerticalSpectrum", "adjust", "arias", "band_pass", "baseline", "bilinear_history", "candidates", "check_suite",
    "choose_per_limit_state", "choose_record", "cumulative_absolute_velocity", "damping_correction", "displacement",
    "displacement_spectrum", "distance_from_median", "ductility_spectra", "end_of", "hazard_factor", "measures", "pga",
    "pgd", "pgv", "read_strong_motion", "read_text", "resample", "response_history", "response_spectra",
    "return_period", "select_suite", "significant_duration", "synthetic_record", "synthetic_suite", "taper",
    "velocity", "zero_end",
]  # fmt: skip
