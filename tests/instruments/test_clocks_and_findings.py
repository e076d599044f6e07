"""Loggers are brought onto common times, and what is wrong with their columns is found and never mended unasked."""

from dataclasses import replace

import numpy as np
import pytest

from examples.strain_gauges import CLOCKS, SAME
from frame2d.errors import InputError
from frame2d.instruments import Clock, Recording, check_times, find, synchronise, virtual_recordings
from frame2d.instruments.clocks import look_at


def test_lag_is_found_and_taken_out(sensors, readings, response, clock):
    """A lag of 0.35 s between 50 and 20 Hz is found within four of its standard deviations and 1 ms."""
    lag, sigma = readings.lags["slow"]
    assert abs(lag - 0.35) < min(1e-3, 4.0 * sigma + 1e-5)
    assert readings.lags["main"] == (0.0, 0.0)
    assert "350." in readings.processing[0] and "by UF and JS" in readings.processing[0]
    drift = np.interp(readings.time, clock, response.displacement("A1") - response.displacement("A1")[0])
    assert readings["UF"] == pytest.approx(drift, abs=5e-4)


def test_a_flipped_channel_is_no_lag(sensors, recordings):
    """The lag is the same where one of the two channels has its sign turned."""
    slow = recordings[1]
    turned = replace(slow, columns={**slow.columns, "UF": -slow.columns["UF"]})
    found = synchronise(sensors, [recordings[0], turned], same=SAME)
    assert found.lags["slow"][0] == pytest.approx(0.35, abs=1e-3)


def test_a_fast_clock_is_slowed_down(sensors, response, clock):
    """A clock that gains 2 ms a second is found from halves of the record when asked for."""
    clocks = {"main": Clock(50.0), "slow": Clock(50.0, lag=-0.2, drift=2e-3)}
    recordings = virtual_recordings(sensors, response, 4, clocks, time=clock)
    plain = synchronise(sensors, recordings, same=SAME)
    better = synchronise(sensors, recordings, same=SAME, rate=True)
    gaps = [np.std(r["UF"] - r["JS"]) for r in (plain, better)]
    assert gaps[1] < 0.6 * gaps[0] and "ppm" in better.processing[0]


def test_raw_is_kept_beside_processed(recordings, readings):
    """The recordings are kept as they came, in their own units and times."""
    assert readings.raw == tuple(recordings)
    assert readings.raw[1].units["D1"] == "mm"
    assert readings.raw[0].time.size != readings.time.size or readings.raw[1].time.size != readings.time.size


def test_a_coarser_step_averages(sensors, response, clock):
    """Channels finer than the step that is asked for are averaged, which takes noise off them."""
    recordings = virtual_recordings(
        sensors, response, 5, {"main": Clock(200.0), "slow": Clock(200.0)}, time=clock
    )
    truth = virtual_recordings(
        sensors, response, 5, {"main": Clock(200.0), "slow": Clock(200.0)}, time=clock, errors=False
    )
    found, exact = (synchronise(sensors, r, same=SAME, dt=0.1) for r in (recordings, truth))
    assert np.diff(found.time) == pytest.approx(0.1)
    shared = found.time < exact.time[-1]
    off = found["SG01"][shared] - np.interp(found.time[shared], exact.time, exact["SG01"])
    # A tenth of a second holds 20 samples of 1.5 µε and half a step of rounding.
    assert np.std(off) < 0.7e-6 + 0.005 * np.std(exact["SG01"])
    assert any("averaged over 0.1 s" in line for line in found.processing)


def test_gaps_are_bridged_only_when_asked(sensors, recordings):
    """A gap is refused, or bridged by a line up to the length that is allowed, and written down."""
    main = recordings[0]
    column = main.columns["SG03"].copy()
    column[100:105] = np.nan
    holed = replace(main, columns={**main.columns, "SG03": column})
    with pytest.raises(InputError, match=r"'SG03' has a gap of 0\.1"):
        synchronise(sensors, [holed, recordings[1]], same=SAME)
    found = synchronise(sensors, [holed, recordings[1]], same=SAME, longest_gap=0.2)
    assert any(f.kind == "gap" and f.channel == "SG03" and "5 samples" in f.text for f in found.findings)
    assert any("SG03: 5 samples bridged" in line for line in found.processing)
    assert np.isnan(found.raw[0].columns["SG03"][100:105]).all()
    column[:3] = np.nan
    with pytest.raises(InputError, match="at its start or end"):
        synchronise(
            sensors, [replace(main, columns={**main.columns, "SG03": column}), recordings[1]], same=SAME
        )


def test_time_stamps_are_checked():
    """Stamps that run backwards, stand still, are missing or leave a gap are found where they are."""
    t = np.arange(50) * 0.1
    t[10], t[20], t[30] = t[9], t[18], np.nan
    t[40:] += 0.3
    kinds = {finding.kind: finding for finding in check_times("main", t)}
    assert set(kinds) == {"time stands still", "time runs backwards", "missing time", "time gap"}
    assert any("3 samples" in f.text for f in check_times("main", t) if f.kind == "time gap")
    assert not check_times("main", np.arange(50) * 0.1)


def test_bad_times_are_refused(sensors, recordings):
    """Readings whose time runs backwards cannot be brought anywhere."""
    time = recordings[0].time.copy()
    time[7] = time[5]
    with pytest.raises(InputError, match="times that grow"):
        synchronise(sensors, [replace(recordings[0], time=time), recordings[1]], same=SAME)


def wave(noise=0.01):
    rng = np.random.default_rng(8)
    t = np.arange(0.0, 20.0, 0.02)
    return t, np.sin(1.3 * t) + noise * rng.standard_normal(t.size)


def test_a_stuck_channel_is_a_flat_line():
    """A channel that stands still while another moves is found from start to end."""
    t, x = wave()
    moving = x.copy()
    x[300:420] = x[300]
    found, *others = find("c", t, x, shortest=0.5, reference=moving)
    assert [other.kind for other in others] == ["step"]  # where it comes back to life
    assert found.kind == "flat line" and found.begin == t[300] and found.end == t[419]
    still = find("c", t, x, shortest=0.5, reference=np.zeros_like(x))
    assert [finding.kind for finding in still] == ["step"]


def test_spikes_and_steps_are_told_apart():
    """One sample off is a spike; a level that stays is a step; each is found once, and nothing else is."""
    t, x = wave()
    x[200] += 0.5
    x[600:] -= 0.4
    found = find("c", t, x, shortest=1.0)
    assert [(f.kind, f.begin) for f in found] == [("spike", t[200]), ("step", t[599])]
    assert "step" in str(found[1]) and float(found[1].text.split()[1]) == pytest.approx(-0.4, abs=0.04)


@pytest.mark.parametrize("noise", [0.0, 0.001, 0.05])
def test_good_columns_give_no_findings(noise):
    """Noise alone, and none at all, is neither spike nor step."""
    t, x = wave(noise)
    assert not find("c", t, x, shortest=1.0)


def test_virtual_recordings_are_clean(recordings):
    """The columns of the virtual test have no findings."""
    assert not [finding for recording in recordings for finding in look_at(recording)]


def test_recordings_that_do_not_fit_are_refused(sensors, recordings):
    """Unknown channels, missing ones, wrong clocks and unequal lengths are named."""
    main, slow = recordings
    with pytest.raises(InputError, match="clock 'slow' has no channel in common"):
        synchronise(sensors, recordings)
    with pytest.raises(InputError, match="are in no recording"):
        synchronise(sensors, [main])
    with pytest.raises(InputError, match="is on clock 'main'; allowed: 'slow'"):
        synchronise(
            sensors, [replace(main, columns={**main.columns, "UF": main.columns["JS"]}), slow], same=SAME
        )
    with pytest.raises(InputError, match="channel is 'SG1'; allowed: SG01"):
        synchronise(sensors, [replace(main, columns={"SG1": main.columns["SG01"]}), slow], same=SAME)
    with pytest.raises(InputError, match="samples at"):
        Recording("main", main.time, {"SG01": main.columns["SG01"][:-1]})
    assert CLOCKS["slow"].lag == 0.35
