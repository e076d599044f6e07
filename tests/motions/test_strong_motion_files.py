"""Strong-motion files that ObsPy ships, read where it is installed; nothing of them is copied here."""

import warnings
from pathlib import Path

import numpy as np
import pytest

from frame2d.errors import Frame2dError, InputError
from frame2d.motions import RecordWarning, baseline, pga, read_strong_motion

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its import warns of its own packaging
    obspy = pytest.importorskip("obspy")
ROOT = Path(obspy.__file__).parent


def sample(name):  # type: ignore[no-untyped-def]
    path = ROOT / name
    if not path.is_file():
        pytest.skip(f"this ObsPy comes without {name}")
    return path


def test_the_k_net_sample_has_its_peak():
    """The K-NET sample has 5900 samples at 0.01 s and, about its mean, the peak of 4.383 gal that its header states."""
    (record,) = read_strong_motion(sample("io/nied/tests/data/test.knet"))
    assert record.acceleration.size == 5900 and record.dt == pytest.approx(0.01)
    level = baseline(record)
    assert pga(level) == pytest.approx(0.04383, rel=2e-4)
    with pytest.raises(InputError, match="drop units"):
        read_strong_motion(sample("io/nied/tests/data/test.knet"), units="gal")
    assert level.raw is record and "KNET" in record.provenance[0] and not record.synthetic


def test_an_accelerograph_is_calibrated():
    """Counts of the Belgian accelerograph become 0.074 m/s² at most, about the mean, on three channels."""
    records = read_strong_motion(sample("io/kinemetrics/tests/data/STNA.20020722.044649.evt.gz"))
    assert len(records) == 3 and all(record.acceleration.size == 8250 for record in records)
    assert max(pga(baseline(record)) for record in records) == pytest.approx(0.074, abs=5e-4)
    (second,) = read_strong_motion(
        sample("io/kinemetrics/tests/data/STNA.20020722.044649.evt.gz"), channel="1"
    )
    assert np.array_equal(second.acceleration, records[1].acceleration)
    with pytest.raises(InputError, match="channel of"):
        read_strong_motion(sample("io/kinemetrics/tests/data/STNA.20020722.044649.evt.gz"), channel="9")


def test_noise_of_an_accelerograph_warns_of_its_size():
    """A channel of a few 0.0001 g is read with a warning, and ObsPy's own warnings are kept in the provenance."""
    with pytest.warns(RecordWarning):
        records = read_strong_motion(sample("io/kinemetrics/tests/data/BI008_MEMA-04823.evt"))
    assert len(records) == 3


def test_an_unreadable_file_is_refused():
    """A file that no format fits is an error that says so."""
    with pytest.raises(InputError, match="cannot be read"):
        read_strong_motion(sample("io/kinemetrics/tests/data/NOUTF8.evt"))
    with pytest.raises(InputError, match="not a file"):
        read_strong_motion("nowhere.evt")


def test_raw_counts_are_refused_until_the_sensitivity_is_given():
    """Counts are refused with what to do; with the sensitivity they are divided by it."""
    path = sample("io/ascii/tests/data/slist.ascii")
    with pytest.raises(InputError, match="counts_per_unit"):
        read_strong_motion(path)
    (record,) = read_strong_motion(path, units="gal", counts_per_unit=1000.0)
    (double,) = read_strong_motion(path, units="gal", counts_per_unit=500.0)
    assert np.allclose(double.acceleration, 2.0 * record.acceleration)
    with pytest.raises(InputError, match="raw counts"):
        read_strong_motion(path, units="counts")


def test_a_header_that_claims_too_much_is_refused():
    """A file that holds 422 of the 360 671 samples of its header is refused, calibrated or not."""
    with pytest.raises(InputError, match=r"360671|gaps"):
        read_strong_motion(
            sample("io/ascii/tests/data/mseed2ascii_miniseed_record.txt"), units="m/s²", counts_per_unit=4e5
        )


def test_without_obspy_the_extra_is_named(monkeypatch, tmp_path):
    """Where ObsPy is missing the error says what to install."""
    import sys

    path = tmp_path / "some.knet"
    path.write_text("nothing")
    monkeypatch.setitem(sys.modules, "obspy", None)
    with pytest.raises(Frame2dError, match=r"frame2d\[records\]"):
        read_strong_motion(path)
