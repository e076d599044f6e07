"""Properties that every registered law must have, whoever wrote it; a law of a user's script is among them.

A law is found by being registered, and probed through its `example`. The scale of its deformations is where its
slope first changes.
"""

import atexit
import importlib.util
import json
import math
import os
import subprocess
import sys
import tempfile
from dataclasses import fields, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from frame2d.errors import InputError
from frame2d.kernels import OK, at, call_law, compiled
from frame2d.materials import Law, build, registered
from frame2d.materials import drive as _drive_module
from frame2d.materials.drive import drive

USER_LAW = '''
"""A law as a user writes it in a script: F = k·u + c·u³."""

from dataclasses import dataclass

from frame2d.errors import positive
from frame2d.kernels import OK, law_kernel
from frame2d.materials import Law, register


@law_kernel
def kernel(p, m0, u, v, dt, out, m1):
    k, c = p[0], p[1]
    out[0] = k * u + c * u * u * u
    out[1] = k + 3.0 * c * u * u
    out[2] = 0.0
    out[3] = 0.5 * k * u * u + 0.25 * c * u**4
    return OK


@register
@dataclass(frozen=True)
class UserHardening(Law):
    k: float
    c: float

    kernel = kernel
    recoverable = "all of it"

    def __post_init__(self):
        positive("UserHardening.k", self.k)
        positive("UserHardening.c", self.c)

    @property
    def stiffness(self):
        return self.k

    @classmethod
    def example(cls):
        return cls(k=2e6, c=3e9)
'''


def _user_law() -> type[Law]:
    """The class of `USER_LAW`, imported from a file outside the package."""
    folder = tempfile.TemporaryDirectory(prefix="frame2d-law-")
    atexit.register(folder.cleanup)
    file = Path(folder.name) / "user_hardening.py"
    file.write_text(USER_LAW)
    spec = importlib.util.spec_from_file_location(file.stem, file)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[file.stem] = module
    spec.loader.exec_module(module)
    law: type[Law] = module.UserHardening
    return law


LAWS = {**registered(), "UserHardening": _user_law()}
NAMES = list(LAWS)
RATE_NAMES = [name for name in NAMES if LAWS[name].rate is not None]
EVERY_LAW = pytest.mark.parametrize("name", NAMES)
#: Duration of one history, s: rates are those of a structure that sways about once in two seconds.
DURATION = 10.0
#: Turning points of the histories, in units of the scale; partial cycles on either side are among them.
TURNS = (0.0, 0.6, -0.5, 1.6, 0.7, 1.3, -2.5, 3.0, 2.0, 3.5, -4.0, -1.0, -2.0, 5.0, 0.5)


@compiled
def _ask(address, p, m0, u, v, dt, out, m1):  # type: ignore[no-untyped-def]
    return call_law(address, at(p, 0), at(m0, 0), u, v, dt, at(out, 0), at(m1, 0))


class Device:
    """A law with its committed memory, asked one trial at a time."""

    def __init__(self, law: Law, address: int | None = None) -> None:
        self.address = law.kernel.address if address is None else address
        self.p = law.parameters()
        self.m = np.concatenate([law.initial_memory(), np.zeros(1)])  # never empty

    def trial(self, u: float, v: float, dt: float, garbage: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
        """What the kernel returns: out and the trial memory."""
        out, m1 = np.full(8, garbage), np.full(self.m.size, garbage)
        m1[-1] = 0.0
        assert _ask(self.address, self.p, self.m, u, v, dt, out, m1) == OK
        return out, m1


def scale(law: Law) -> float:
    """Deformation at which the slope first differs by a tenth of the stiffness; 0.01 where it never does."""
    found = []
    for sign in (1.0, -1.0):
        u = sign * np.geomspace(1e-6, 1.0, 300)
        tangent = drive(law, u).tangent
        far = np.abs(tangent - tangent[0]) > 0.1 * law.stiffness
        if law.stiffness > 0.0 and far.any():
            found.append(abs(u[np.argmax(far)]))
    return max(found, default=0.01)


def history(law: Law, points: int) -> tuple[np.ndarray, np.ndarray, float]:
    """Deformations and rates of a varied history that stops smoothly at each turn, and its time step."""
    legs = np.diff(TURNS)
    fine = max(points // len(legs), 2)
    ease = 0.5 - 0.5 * np.cos(np.pi * np.arange(1, fine + 1) / fine)
    u = np.concatenate([[0.0], *(start + leg * ease for start, leg in zip(TURNS[:-1], legs, strict=True))])
    u *= scale(law)
    dt = DURATION / (u.size - 1)
    return u, np.gradient(u, dt), dt


@EVERY_LAW
def test_tangents_are_derivatives_of_the_force(name: str) -> None:
    """dF/du and dF/dv agree with central differences wherever the force has no kink."""
    law = LAWS[name].example()
    device = Device(law)
    u, v, dt = history(law, 280)
    stiff = max(law.stiffness, np.abs(drive(law, u, dt).force).max() / np.abs(u).max())
    examined, viscous = 0, max(np.abs(v).max() * 1e-7, 1e-12)
    h = 1e-6 * np.abs(u).max() / 5.0
    for i in range(1, u.size):
        out, memory = device.trial(u[i], v[i], dt)
        force, tangent, damping = out[0], out[1], out[2]
        ahead, behind = (device.trial(u[i] + s * h, v[i], dt)[0][0] for s in (1.0, -1.0))
        if abs(ahead - 2.0 * force + behind) <= 1e-4 * stiff * h:
            examined += 1
            assert tangent == pytest.approx((ahead - behind) / (2.0 * h), abs=2e-4 * stiff), f"at point {i}"
        faster, slower = (device.trial(u[i], v[i] + s * viscous, dt)[0][0] for s in (1.0, -1.0))
        slope = (faster - slower) / (2.0 * viscous)
        if abs(faster - 2.0 * force + slower) <= 1e-4 * abs(faster - slower) + 1e-12 * abs(force):
            assert damping == pytest.approx(slope, rel=1e-4, abs=1e-8 * abs(force) / viscous)
        device.m = memory
    assert examined > 0.7 * u.size


@EVERY_LAW
def test_a_steady_cycle_does_not_create_energy(name: str) -> None:
    """The work over a closed cycle that has become steady is not negative."""
    law = LAWS[name].example()
    if not law.passive:
        pytest.skip("the law says that it is not passive")
    for middle, half in ((0.0, 0.8), (0.0, 2.0), (0.0, 5.0), (1.5, 1.0), (-2.0, 0.3)):
        t = np.linspace(0.0, 6.0, 6 * 400 + 1)
        u = scale(law) * (middle * np.minimum(t, 1.0) + half * np.sin(2.0 * np.pi * t))
        loop = drive(law, u, 2.0 / 400)
        last = loop.work[-1] - loop.work[-401]
        assert last >= -1e-6 * np.abs(loop.force).max() * np.ptp(u)


@pytest.mark.parametrize(
    "law",
    [
        *(LAWS[name].example() for name in NAMES),
        LAWS["Series"]((LAWS["BoucWen"].example(), LAWS["Elastic"](k=1e7))),
        LAWS["Parallel"]((LAWS["BoucWen"].example(), LAWS["BoucWenStiffened"].example())),
    ],
    ids=lambda law: type(law).__name__,
)
def test_lean_parameters_leave_out_no_more_than_the_energy(law: Law) -> None:
    """Force, tangent and its rate are the same to the bit with the parameters for loops without an energy account."""
    full, lean = Device(law), Device(law)
    lean.p = law.lean_parameters()
    u, v, dt = history(law, 140)
    for i in range(1, u.size):
        out, full.m = full.trial(u[i], v[i], dt)
        short, lean.m = lean.trial(u[i], v[i], dt)
        assert out[:3].tobytes() == short[:3].tobytes()


@EVERY_LAW
def test_a_trial_leaves_the_committed_memory_alone(name: str) -> None:
    """Any number of trials changes neither the committed memory nor the parameters, and repeats to the bit."""
    law = LAWS[name].example()
    device = Device(law)
    u, v, dt = history(law, 70)
    for i in range(1, u.size):
        kept, parameters = device.m.copy(), device.p.copy()
        first, memory = device.trial(u[i], v[i], dt)
        for other in (-3.0, 0.1, 7.0):
            device.trial(other * u[i], -v[i], dt)
        again, same = device.trial(u[i], v[i], dt)
        assert device.m.tobytes() == kept.tobytes()
        assert device.p.tobytes() == parameters.tobytes()
        assert again.tobytes() == first.tobytes()
        assert same.tobytes() == memory.tobytes()
        device.m = memory


@EVERY_LAW
def test_what_stood_in_the_trial_memory_does_not_matter(name: str) -> None:
    """Force, tangents, recoverable energy and trial memory are the same over zeros, NaN and huge numbers."""
    law = LAWS[name].example()
    device = Device(law)
    u, v, dt = history(law, 70)
    for i in range(1, u.size):
        clean, memory = device.trial(u[i], v[i], dt)
        for garbage in (math.nan, 1e30):
            dirty, same = device.trial(u[i], v[i], dt, garbage)
            assert dirty[:4].tobytes() == clean[:4].tobytes()
            assert np.all(np.isfinite(same))
            assert same.tobytes() == memory.tobytes()
        device.m = memory


@EVERY_LAW
def test_a_description_makes_the_same_law_again(name: str) -> None:
    """A law survives `describe`, JSON and `build`."""
    law = LAWS[name].example()
    again = build(json.loads(json.dumps(law.describe())))
    assert again == law
    # Laws within laws are known by the address of their kernel, which is the same in one process.
    assert again.parameters().tobytes() == law.parameters().tobytes()


@EVERY_LAW
def test_finer_steps_converge(name: str) -> None:
    """Halving the steps changes the force at common points less and less, and little in the end."""
    law = LAWS[name].example()
    forces = []
    for points in (1400, 2800, 5600):
        u, _, dt = history(law, points)
        forces.append(drive(law, u, dt).force[:: points // 1400])
    # Root mean squares: a damper's rate, found by differences, is never exact where the motion turns.
    largest = np.abs(forces[-1]).max()
    change = [np.sqrt(np.mean((b - a) ** 2)) / largest for a, b in pairwise(forces)]
    assert change[1] <= 5e-3
    assert change[1] <= 0.9 * change[0] + 1e-9


@pytest.mark.parametrize("name", RATE_NAMES)
def test_rate_laws_are_integrated_to_second_order(name: str) -> None:
    """Halving the steps of a history that turns on a step quarters the error."""
    law = LAWS[name].example()
    errors, counts = [], (400, 800, 1600)

    def path(points: int) -> np.ndarray:
        t = np.linspace(0.0, 1.25, points + 1)
        return 6.0 * scale(law) * np.sin(2.0 * np.pi * t)

    exact = drive(law, path(25600)).force
    for points in counts:
        force = drive(law, path(points)).force
        errors.append(np.sqrt(np.mean((force - exact[:: 25600 // points]) ** 2)))
    order = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
    assert np.all(order > 1.8)


@pytest.mark.parametrize("name", RATE_NAMES)
def test_the_rate_form_is_the_same_law(name: str) -> None:
    """An adaptive Runge-Kutta integration of the rate form follows the steps of the law; its derivatives are right."""
    law = LAWS[name].example()
    assert law.rate is not None
    form = Device(law, law.rate.address)
    states = law.states
    reach = 5.0 * scale(law)

    def motion(t: float) -> tuple[float, float]:
        return reach * math.sin(t) * (0.6 + 0.4 * math.cos(2.3 * t)), reach * (
            math.cos(t) * (0.6 + 0.4 * math.cos(2.3 * t)) - 0.92 * math.sin(t) * math.sin(2.3 * t)
        )

    def ask(u: float, v: float, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        form.m = np.append(s, 0.0)
        return form.trial(u, v, 0.0)

    end = 7.0
    start = law.initial_memory()[:states]
    solution = solve_ivp(
        lambda t, s: ask(*motion(t), s)[1][:states], (0.0, end), start, rtol=1e-8, atol=1e-10, max_step=0.01
    )
    t = np.linspace(0.0, end, 30001)
    loop = drive(law, np.array([motion(time)[0] for time in t]))
    final = solution.y[:, -1]
    out, _ = ask(*motion(end), final)
    assert out[0] == pytest.approx(loop.force[-1], abs=2e-5 * np.abs(loop.force).max())
    assert final == pytest.approx(loop.memory[:states], abs=2e-4)
    u, v = motion(end)
    h = 1e-6
    for i in range(states):
        up, down = (ask(u, v, final + s * h * np.eye(states)[i])[0][0] for s in (1.0, -1.0))
        assert out[4 + i] == pytest.approx((up - down) / (2.0 * h), abs=1e-6 * law.stiffness * reach)
    up, down = (ask(u + s * h * reach, v, final)[0][0] for s in (1.0, -1.0))
    assert out[1] == pytest.approx((up - down) / (2.0 * h * reach), abs=1e-6 * law.stiffness)


@EVERY_LAW
def test_dissipated_energy_never_falls(name: str) -> None:
    """Recoverable energy is not negative, and work less recoverable energy does not fall (passive laws)."""
    law = LAWS[name].example()
    u, _, dt = history(law, 14000)
    loop = drive(law, u, dt)
    largest = max(loop.recoverable.max(), np.abs(loop.work).max())
    assert loop.recoverable.min() >= -1e-9 * largest
    if law.passive:
        dissipated = loop.work - loop.recoverable
        fall = np.maximum.accumulate(dissipated) - dissipated
        assert fall.max() <= 0.01 * largest


def _numbers(value: Any) -> bool:
    return isinstance(value, float | int) and not isinstance(value, bool)


def _spoiled(value: Any, bad: float) -> Any:
    """`value` with its first number, however deep, replaced by `bad`."""
    if isinstance(value, tuple):
        return (_spoiled(value[0], bad), *value[1:])
    return bad


def _worth_spoiling(law: Law) -> list[str]:
    """Fields that are numbers or nested tuples of numbers."""

    def first(value: Any) -> Any:
        return first(value[0]) if isinstance(value, tuple) and value else value

    return [field.name for field in fields(law) if _numbers(first(getattr(law, field.name)))]


@EVERY_LAW
@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_bad_parameters_are_refused_by_name(name: str, data: st.DataObject) -> None:
    """NaN and infinities raise `InputError` naming the field; zero and negative ones do, or make a working law."""
    law = LAWS[name].example()
    choices = _worth_spoiling(law)
    if not choices:
        return
    field = data.draw(st.sampled_from(choices))
    bad = data.draw(
        st.sampled_from([math.nan, math.inf, -math.inf, 0.0, -1.0])
        | st.floats(max_value=-1e-9, allow_nan=False)
    )
    try:
        made = replace(law, **{field: _spoiled(getattr(law, field), bad)})
    except InputError as error:
        assert field in str(error)
        return
    assert math.isfinite(bad), f"{field} = {bad} was accepted"
    assert np.all(np.isfinite(drive(made, history(law, 70)[0], 0.01).force))


@EVERY_LAW
@settings(max_examples=10, deadline=None)
@given(wild=st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=4))
def test_wild_trials_are_answered(name: str, wild: list[float]) -> None:
    """However far a trial lies, the kernel returns finite numbers or a status, and the law goes on."""
    law = LAWS[name].example()
    device = Device(law)
    out, m1 = np.zeros(8), np.zeros(device.m.size)
    for factor in wild:
        u = factor * scale(law)
        if _ask(device.address, device.p, device.m, u, 0.0, 0.0, out, m1) == OK:
            assert np.all(np.isfinite(out[:4]))
            assert np.all(np.isfinite(m1[:-1]))
    _ask(device.address, device.p, device.m, math.nan, 0.0, 0.0, out, m1)
    device.trial(scale(law), 0.0, 0.01)


def test_compiled_and_plain_python_agree() -> None:
    """Every law gives the same forces with and without compilation, to rounding."""
    script = (
        "import runpy, sys, json; t = runpy.run_path(sys.argv[1]); "
        "print(json.dumps({name: t['samples'](name) for name in t['NAMES']}))"
    )
    plain = subprocess.run(
        [sys.executable, "-W", "error", "-c", script, __file__],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert plain.returncode == 0, plain.stderr
    found = json.loads(plain.stdout.splitlines()[-1])
    assert set(found) == set(NAMES)
    for name in NAMES:
        for expected, value in zip(samples(name), found[name], strict=True):
            largest = np.abs(expected).max()
            assert np.asarray(value) == pytest.approx(np.asarray(expected), rel=1e-9, abs=1e-12 * largest), (
                name
            )


def samples(name: str) -> list[list[float]]:
    """Force, tangent and recoverable energy of a short history, for the comparison of compiled and plain."""
    law = LAWS[name].example()
    # An odd number: a kink that falls on a point would leave the tangent to rounding.
    unit = 0.009871
    u = unit * np.array([0.0, 0.3, 0.9, 1.7, 1.2, 1.6, 2.4, 0.4, -1.1, -2.9, -2.2, -2.6, 0.1, 3.3, 2.9])
    loop = drive(law, u, 0.05)
    return [loop.force.tolist(), loop.tangent.tolist(), loop.recoverable.tolist()]


def test_a_law_of_a_script_compiles_nothing_but_itself() -> None:
    """The driver is not compiled again for a user's law: it is reached by address like all others."""
    drive(LAWS["Bilinear"].example(), np.array([0.0, 0.01]))
    before = len(_drive_module._drive.signatures)
    law = LAWS["UserHardening"].example()
    u = np.linspace(0.0, 0.02, 50)
    assert drive(law, u).force == pytest.approx(2e6 * u + 3e9 * u**3)
    assert len(_drive_module._drive.signatures) == before
