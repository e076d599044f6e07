"""A hybrid test across two processes, either of which is killed at random steps, ends with the uninterrupted numbers.

`figures(count)` kills `count` times (SIGKILL), resumes each time, and compares the journal with a run that nobody
disturbed, bit for bit. Structure, motion and specimen are invented for this proof. Run alone:
``python benchmarks/hybrid_kills.py figures 50``.
"""

import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

import frame2d
from frame2d.hybrid import (
    CHECKS,
    Computed,
    Declared,
    HybridTest,
    Limits,
    LinearlyImplicit,
    MatrixSolver,
    Model,
    Network,
    Remote,
    Sensors,
    Specimen,
    Unattended,
    polynomial,
    serve,
)
from frame2d.hybrid.journal import history, rows, verify
from frame2d.hybrid.rig import Rig
from frame2d.materials import Bilinear, Elastic

STEPS, DT, SCALE, K = 160, 0.005, 50.0, 2e7
LIMITS = Limits((-0.1, 0.1), 6e5, 0.05, 0.02, 0.01, energy=1.0, energy_warning=0.9, flat_force=0)


def make_solver(scale: float) -> MatrixSolver:
    """Two storeys of which the lower one is tested, under an invented motion."""
    M = np.diag([2e4, 2e4])
    k = np.array([[K, -K], [-K, K]])
    t = np.arange(STEPS + 1) * DT
    motion = 4.0 * np.sin(2.0 * np.pi * 1.8 * t) * np.sin(np.pi * t / t[-1])
    part = Computed(M, 0.4 * M, k, np.array([[1.0, 0.0]]))
    declared = Declared(np.array([[K]]), np.array([[K]]))
    return MatrixSolver(
        part, declared, LinearlyImplicit(0.8), -scale * np.outer(motion, np.diag(M)), DT, SCALE
    )


def make_specimen(kind: str) -> Specimen:
    """A yielding device in series with its bolts: exact, or in a simulated rig with noise."""
    network = Network.series(Elastic(10.0 * K), Bilinear(k=K, Fy=1.5e5, b=0.03))
    return Model(network) if kind == "model" else Rig(network, sensors=Sensors.typical(), seed=7)


def make_test(
    specimen: Specimen, journal: Path | None, views: tuple[Any, ...] = (), mode: str = "durable"
) -> HybridTest:
    """The test around it; in batched mode a crash may cost 8 steps."""
    return HybridTest(
        make_solver, specimen, LIMITS, Unattended(True), journal, stiffness=np.array([[K]]), time_scale=SCALE,
        make_compensation=lambda: polynomial(2, 0.0005, DT), views=views, force_tolerance=0.05, mode=mode,
        may_lose=0 if mode == "durable" else 8,
    )  # fmt: skip


def _specimen(folder: Path, kind: str) -> None:
    def ready(host: str, port: int) -> None:
        (folder / "port.part").write_text(str(port))
        os.replace(folder / "port.part", folder / "port")

    serve(
        make_specimen(kind), LIMITS, ready=ready, memory=folder / "memory.db", release=lambda question: True
    )


def _solver(folder: Path, mode: str) -> None:
    def view(progress: Any) -> None:
        sys.stdout.write(f"{progress.step}\n")
        sys.stdout.flush()

    journal = folder / "test.db"
    test = make_test(Remote(port=int((folder / "port").read_text())), journal, (view,), mode)
    # Killed before its first step, a test has nothing to resume: it starts afresh on the untouched specimen. Killed after
    # its last line, it was completed.
    known = rows(journal) if journal.exists() else []
    started = any(row.kind == "start" for row in known)
    if any(row.kind == "end" and row.body["ending"] == "completed" for row in known):
        sys.stdout.write("completed\n")
        return
    if journal.exists() and not started:
        for suffix in ("", "-wal", "-shm"):
            Path(f"{journal}{suffix}").unlink(missing_ok=True)
    outcome = test.resume() if started else test.run(CHECKS)
    test.close()
    sys.stdout.write(f"{outcome.ending}\n")


def _start(role: str, *arguments: str) -> subprocess.Popen[str]:
    environment = {**os.environ, "PYTHONPATH": str(Path(frame2d.__file__).resolve().parents[1])}
    command = [sys.executable, str(Path(__file__).resolve()), role, *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)


class _Life:
    """The two processes of one test; whoever was not killed lives on."""

    def __init__(self, folder: Path, kind: str, mode: str) -> None:
        self.folder, self.kind, self.mode = folder, kind, mode
        self.specimen: subprocess.Popen[str] | None = None

    def _serve(self) -> None:
        if self.specimen is not None and self.specimen.poll() is None:
            return
        (self.folder / "port").unlink(missing_ok=True)
        self.specimen = _start("specimen", str(self.folder), self.kind)
        patience = time.monotonic() + 120.0
        while not (self.folder / "port").exists():
            if self.specimen.poll() is not None or time.monotonic() > patience:
                raise RuntimeError("the specimen's process did not start")
            time.sleep(0.01)

    def run(self, victim: str, after: int, pause: float) -> bool:
        """Run or resume; kill `victim` `pause` seconds after `after` steps; whether the test came to its end."""
        self._serve()
        assert self.specimen is not None
        solver = _start("solver", str(self.folder), self.mode)
        try:
            assert solver.stdout is not None
            for count, line in enumerate(solver.stdout):
                if line.strip() == "completed":
                    return True
                if count >= after:
                    time.sleep(pause)
                    if victim == "specimen":
                        self.specimen.kill()
                        self.specimen.communicate()
                        solver.communicate(timeout=120)
                    return False
            raise RuntimeError("the solver ended before the test did, and nobody had killed it")
        finally:
            solver.kill()
            solver.communicate()

    def end(self) -> None:
        """End what still runs."""
        if self.specimen is not None:
            self.specimen.kill()
            self.specimen.communicate()


def figures(
    count: int = 50,
    kind: str = "rig",
    seed: int = 1,
    mode: str = "durable",
    victims: tuple[str, ...] = ("solver", "specimen"),
) -> list[dict[str, Any]]:
    """Kill `count` times in as many tests as that takes; one row a figure: name, value, unit, low, high, goal, ok."""
    reference = make_test(make_specimen(kind), None).run(CHECKS)
    generator = random.Random(seed)
    kills = {"solver": 0, "specimen": 0}
    tests, different, unsound = 0, 0, 0
    while sum(kills.values()) < count:
        with tempfile.TemporaryDirectory() as name:
            folder, completed = Path(name), False
            life = _Life(folder, kind, mode)
            try:
                while not completed:
                    last = sum(kills.values()) >= count
                    victim, after = generator.choice(victims), generator.randint(1, 30)
                    # A fraction of a step later, so that the kill falls anywhere between journal, wire and answer.
                    completed = life.run(victim, 10 * STEPS if last else after, generator.random() * 0.004)
                    kills[victim] += not completed
            finally:
                life.end()
            tests += 1
            run = history(folder / "test.db")
            same = all(
                np.array_equal(mine, theirs)
                for mine, theirs in zip(
                    (run["command"], run["displacement"], run["force"]),
                    (reference.command, reference.displacement, reference.force),
                    strict=True,
                )
            )
            different += not same
            unsound += not verify(folder / "test.db").intact
    rows_ = [
        ("kills of the solver", kills["solver"], "-", None, None, "some", kills["solver"] > 0 or count < 4),
        (
            "kills of the specimen",
            kills["specimen"],
            "-",
            None,
            None,
            "some",
            kills["specimen"] > 0 or count < 4,
        ),
        ("tests brought to their end", tests, "-", 1, None, "at least 1", tests >= 1),
        ("tests that differ from the undisturbed one", different, "-", 0, 0, "0", different == 0),
        ("journals that are not sound", unsound, "-", 0, 0, "0", unsound == 0),
    ]
    keys = ("name", "value", "unit", "low", "high", "goal", "ok")
    return [dict(zip(keys, row, strict=True)) for row in rows_]


if __name__ == "__main__":
    if sys.argv[1] == "specimen":
        _specimen(Path(sys.argv[2]), sys.argv[3])
    elif sys.argv[1] == "solver":
        _solver(Path(sys.argv[2]), sys.argv[3])
    else:
        for figure in figures(int(sys.argv[2]) if len(sys.argv) > 2 else 50):
            print(
                f"{figure['name']}: {figure['value']} (goal {figure['goal']}) {'ok' if figure['ok'] else 'NOT REACHED'}"
            )
