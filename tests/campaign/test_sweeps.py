"""Sweeps over executors: the same results everywhere, stored as they end, resumed, honest about what failed."""

import json
import multiprocessing
import threading
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm

from frame2d.analysis import AnalysisError
from frame2d.campaign import (
    Curve,
    IntensityRun,
    counts,
    curves,
    fragility,
    grid,
    incremental,
    reaches,
    sweep,
    tabulated,
)
from frame2d.campaign.sweep import identity
from frame2d.elements import Link
from frame2d.errors import InputError
from frame2d.materials import Bilinear
from frame2d.model import Frame
from frame2d.motions.record import Record


def mast() -> Frame:
    """One storey with a yielding spring (invented)."""
    frame = Frame("mast (invented)")
    frame.node("0", 0, 0, support="fixed")
    frame.node("1", 0, 3.0, support=("uy", "rz"), mass=2e4)
    frame.link("spring", "0", "1", Link(transverse=Bilinear(8e5, 2e4, 0.02), angle=np.pi / 2))
    frame.floor("top", ["1"])
    return frame


def records(count: int) -> list[Record]:
    """Seeded invented noise under an envelope."""
    rng = np.random.default_rng(11)
    time = np.arange(0.0, 4.0, 0.01)
    return [
        Record(
            np.sin(np.pi * time / 4.0)
            * np.convolve(rng.normal(0.0, 4.0, time.size), np.hanning(21) / 10.0, "same"),
            0.01,
            f"noise {k}",
            synthetic=True,
        )
        for k in range(count)
    ]


RUN = IntensityRun.of(mast(), drift_limit=0.05)
JOBS = incremental(records(2), [0.5, 2.0])


@pytest.fixture(scope="module")
def threaded():
    return sweep(RUN, JOBS)


def test_runs_come_back_in_the_order_of_their_jobs(threaded):
    """The matrix has every combination, each with the numbers of its own run."""
    assert [run.job.place for run in threaded] == [
        {"record": r, "factor": f} for r in ("noise 0", "noise 1") for f in ("0.5", "2")
    ]
    assert all(run.status == "completed" and run.values["imbalance"] < 1e-2 for run in threaded)
    again = RUN(**JOBS[1].arguments)
    assert threaded[1].values["largest_drift"] == again["largest_drift"]


def test_a_cluster_of_worker_processes_gives_the_same_bits(threaded):
    """Two real worker processes of a Dask cluster, through its executor, return what threads return."""
    distributed = pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        client.wait_for_workers(2, timeout=120)
        found = sweep(RUN, JOBS, executor=client.get_executor())
        pids = client.run(lambda: __import__("os").getpid())
        assert len(set(pids.values())) == 2
    assert [run.message for run in found] == [""] * len(JOBS)
    assert [run.values for run in found] == [run.values for run in threaded]


def test_a_process_pool_works_as_well():
    """Callable and arguments travel to a process of their own."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        found = sweep(dict, grid(a=[1, 2], b={"x": [3.0]}), executor=pool)
    assert [run.values for run in found] == [{"a": 1, "b": [3.0]}, {"a": 2, "b": [3.0]}]


def test_finished_runs_are_taken_over(tmp_path):
    """A second sweep runs nothing; other arguments, another callable and named statuses are run again."""
    calls = []

    def run(a, b):
        calls.append(a)
        return {"sum": a + b, "status": "collapsed" if a == 2 else "completed"}

    first = sweep(run, grid(a=[1, 2], b=[3]), tmp_path)
    second = sweep(run, grid(a=[1, 2], b=[3]), tmp_path)
    assert sorted(calls) == [1, 2] and all(r.resumed for r in second)
    assert [(r.status, r.values) for r in first] == [(r.status, r.values) for r in second]
    sweep(run, grid(a=[1, 2, 5], b=[3]), tmp_path)
    assert sorted(calls) == [1, 2, 5]
    sweep(run, grid(a=[1, 2], b=[3]), tmp_path, again=["collapsed"])
    assert sorted(calls) == [1, 2, 2, 5]
    assert not any(path.suffix == ".part" for path in tmp_path.iterdir())


def test_an_interruption_keeps_what_has_ended(tmp_path):
    """Ctrl-C in the middle is raised; what ended is on disk; the next sweep runs only the rest."""
    calls, stopped = [], threading.Event()

    def run(a):
        calls.append(a)
        if a == 2 and not stopped.is_set():
            stopped.set()
            raise KeyboardInterrupt
        return {"a": a}

    with pytest.raises(KeyboardInterrupt):
        sweep(run, grid(a=[0, 1, 2, 3, 4]), tmp_path, workers=1)
    stored = [json.loads(path.read_text())["values"]["a"] for path in tmp_path.glob("*.json")]
    assert {0, 1} <= set(stored) and 2 not in stored
    before = list(calls)
    found = sweep(run, grid(a=[0, 1, 2, 3, 4]), tmp_path, progress=True)
    assert [r.values["a"] for r in found] == [0, 1, 2, 3, 4]
    assert not {0, 1} & set(calls[len(before) :])


def test_what_fails_is_recorded_and_is_no_collapse(tmp_path):
    """No equilibrium is "not converged", any other error "failed", each with its words; the others go on."""

    def run(a):
        if a == 1:
            raise AnalysisError("no equilibrium at node 7", SimpleNamespace())
        if a == 2:
            raise ValueError("broken")
        return (
            {"status": "bad"}
            if a == 3
            else {"x": np.float64(a), "status": "collapsed" if a == 4 else "completed"}
        )

    found = sweep(run, grid(a=range(5)), tmp_path)
    assert [r.status for r in found] == ["completed", "not converged", "failed", "failed", "collapsed"]
    assert (
        "node 7" in found[1].message
        and found[2].message == "ValueError: broken"
        and "allowed" in found[3].message
    )
    assert counts(found) == {"completed": 1, "collapsed": 1, "not converged": 1, "failed": 2}
    table = tabulated(
        sweep(run, grid(a=range(2), b=["u"]) if False else grid(a=range(2)), None), "x", "a", "a"
    )
    assert table["values"][0][0] == 0.0 and table["values"][1][1] is None
    assert sweep(run, grid(a=range(5)), tmp_path)[1].message == found[1].message


def test_a_dead_worker_is_a_failed_run():
    """A future that raises by itself, as of a lost worker, is recorded and does not stop the sweep."""

    class Loses(ThreadPoolExecutor):
        def submit(self, call, run, arguments):
            if arguments["a"] == 1:

                def lost(*_):
                    raise OSError("worker gone")

                return super().submit(lost)
            return super().submit(call, run, arguments)

    with Loses(1) as pool:
        found = sweep(dict, grid(a=[0, 1, 2]), executor=pool)
    assert [r.status for r in found] == ["completed", "failed", "completed"] and "worker gone" in found[
        1
    ].message


def test_a_matrix_of_cuts_records_and_limit_states_is_a_table():
    """Three axes give all combinations; picked on one, the other two make a table."""

    def run(cut, record, limit_state):
        return {"error": cut * 10 + record + 0.1 * limit_state}

    found = sweep(
        run, grid(cut={"low": 1, "high": 2}, record={"r1": 3, "r2": 4}, limit_state={"DL": 1, "NC": 2})
    )
    assert len(found) == 8
    one = [r for r in found if r.job.place["limit_state"] == "NC"]
    table = tabulated(one, "error", "cut", "record")
    assert table["rows"] == ["low", "high"] and table["values"] == [[13.2, 14.2], [23.2, 24.2]]
    with pytest.raises(InputError, match="Pick runs"):
        tabulated(found, "error", "cut", "record")


def test_equal_arguments_have_one_identity_and_others_another():
    """Frames, records, arrays and laws are told apart by what they are."""
    a, b = records(2)
    assert identity(mast()) == identity(mast())
    assert identity(a) != identity(b) and identity(a) == identity(records(1)[0])
    assert identity(Bilinear(1e6, 1e3, 0.1)) != identity(Bilinear(1e6, 1e3, 0.2))
    assert identity({"x": np.arange(3.0)}) != identity({"x": np.arange(4.0)})
    with pytest.raises(InputError, match="no identity"):
        identity(object())
    with pytest.raises(InputError, match="each name once"):
        grid(a=[1, 1])
    with pytest.raises(InputError, match="status to run again"):
        sweep(dict, [], again=["lost"])


def test_curves_pass_their_limit_between_completed_runs_only():
    """Linear between runs, half-way to a collapse, and nothing is concluded beyond a run without result."""
    factor = np.array([1.0, 2.0, 3.0])
    done = ("completed",) * 3
    assert reaches(Curve("a", factor, np.array([0.01, 0.03, 0.05]), done), 0.02) == ("a", 1.5, True)
    assert reaches(Curve("b", factor, np.array([0.01, np.inf, 0.0]), done), 0.02) == ("b", 1.5, True)
    assert reaches(Curve("c", factor, np.array([0.01, np.nan, np.inf]), done), 0.02) == ("c", 1.0, False)
    assert reaches(Curve("d", factor, np.array([0.01, 0.011, 0.012]), done), 0.02) == ("d", 3.0, False)


def _straight(capacities, top):
    """Curves of demand = factor/capacity, known up to `top`."""
    factors = np.linspace(0.02, top, 400)
    return [Curve(str(k), factors, factors / c, ("completed",) * 400) for k, c in enumerate(capacities)]


def test_fragility_of_known_capacities_is_their_lognormal():
    """Median and dispersion are those of the sample; cut off above, the likelihood still finds the truth."""
    rng = np.random.default_rng(5)
    capacities = 2.0 * np.exp(0.4 * rng.normal(size=400))
    whole = fragility(_straight(capacities, 12.0), 1.0)
    logs = np.log(capacities)
    assert whole.median == pytest.approx(np.exp(logs.mean()), rel=1e-3)
    assert whole.beta == pytest.approx(logs.std(), rel=1e-3) and whole.reached == 400
    cut = fragility(_straight(capacities, 2.2), 1.0)
    assert cut.reached < 300 and cut.median == pytest.approx(2.0, rel=0.06)
    assert cut.beta == pytest.approx(0.4, rel=0.12)
    assert cut.probability(cut.median) == pytest.approx(0.5)
    assert whole.probability(3.0) == pytest.approx(norm.cdf(np.log(3.0 / whole.median) / whole.beta))


def test_runs_without_result_do_not_raise_the_probability_of_collapse():
    """Turning collapses into runs that did not converge can only raise the median factor."""
    base = [
        Curve(str(k), np.array([1.0, 2.0, 3.0]), np.array([0.0, np.inf if k % 2 else 0.005, np.inf]), ())
        for k in range(8)
    ]
    lost = [
        c._replace(demand=np.where(np.isinf(c.demand), np.nan, c.demand)) if k < 2 else c
        for k, c in enumerate(base)
    ]
    first, second = fragility(base, 0.02), fragility(lost, 0.02)
    assert second.median > first.median and (first.unknown, second.unknown) == (0, 2)
    with pytest.raises(InputError, match="of 8 records reach"):
        fragility([c._replace(demand=np.full(3, np.nan)) for c in base], 0.02)


def test_incremental_runs_become_curves(threaded):
    """Demands rise along each record of the mast, in the order of the factors."""
    found = curves(threaded)
    assert [c.record for c in found] == ["noise 0", "noise 1"]
    for curve in found:
        assert curve.factor.tolist() == [0.5, 2.0] and curve.demand[1] > curve.demand[0] > 0.0
