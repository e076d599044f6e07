"""Ground motions: records, their processing and measures, spectra, targets, synthetic and adjusted records.

| name | for | source |
| --- | --- | --- |
| Record, read_text | one acceleration history; text and CSV with explicit step, units, columns | |
| read_strong_motion | formats that ObsPy knows, calibration applied (extra `records`) | |
| baseline, taper, band_pass, resample, zero_end | processing; raw samples stay beside | common practice |
| measures, pga, pgv, pgd, arias, significant_duration | intensity measures | Arias 1970; Trifunac & Brady 1975 |
| response_spectra, response_history | linear oscillators, exact for polygons | Nigam & Jennings 1969 |
| ductility_spectra | bilinear oscillators of constant ductility | Chopra, ch. 7 |
| ElasticSpectrum, DesignSpectrum, VerticalSpectrum | targets of EN 1998-1 | EN 1998-1:2004, 3.2.2 |
| LimitState, hazard_factor | return periods | EN 1998-1, 2.1 |
| synthetic_record, synthetic_suite, Envelope, Pulse | artificial records matched to a target | |
| adjust | wavelet adjustment of a record to a target | Lilhanand & Tseng 1988 |
"""

from frame2d.motions.adjustment import Adjustment, adjust
from frame2d.motions.ductility import ductility_spectra
from frame2d.motions.en1998 import DesignSpectrum, ElasticSpectrum, VerticalSpectrum, damping_correction
from frame2d.motions.hazard import LimitState, hazard_factor, return_period
from frame2d.motions.measures import arias, measures, pga, pgd, pgv, significant_duration
from frame2d.motions.processing import band_pass, baseline, resample, taper, zero_end
from frame2d.motions.pulse import Pulse
from frame2d.motions.reading import read_text
from frame2d.motions.record import Record
from frame2d.motions.seismology import read_strong_motion
from frame2d.motions.spectra import Spectra, response_history, response_spectra
from frame2d.motions.synthetic import Envelope, synthetic_record, synthetic_suite

__all__ = [
    "Adjustment", "DesignSpectrum", "ElasticSpectrum", "Envelope", "LimitState", "Pulse", "Record", "Spectra",
    "VerticalSpectrum", "adjust", "arias", "band_pass", "baseline", "damping_correction", "ductility_spectra",
    "hazard_factor", "measures", "pga", "pgd", "pgv", "read_strong_motion", "read_text", "resample", "response_history",
    "response_spectra", "return_period", "significant_duration", "synthetic_record", "synthetic_suite", "taper",
    "zero_end",
]  # fmt: skip
