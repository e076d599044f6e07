"""Virtual tests: a law with hidden parameters is led through a protocol, with noise and a converter's steps.

They prove a fit, since the truth is known; they are no measurement, and their names say so.
"""

from typing import Any, NamedTuple

import numpy as np

from frame2d.component_tests import CyclicTest, ProtocolHistory
from frame2d.errors import InputError, within
from frame2d.fitting.choose import LawLike, class_of, form_of
from frame2d.fitting.problem import space
from frame2d.fitting.scales import Scales, Side
from frame2d.fitting.simulate import Driven
from frame2d.materials.law import Law


class VirtualTest(NamedTuple):
    """A test as a laboratory would give it, the law behind it and its force without noise."""

    test: CyclicTest
    hidden: Law
    force: np.ndarray


def hidden_law(law: LawLike, seed: int, spread: float = 0.2, free: Any = "all") -> Law:
    """A law with seeded parameters: each of `law` (or its example) times or divided by up to 1 + `spread`.

    `free` as in `fit`: the parameters that vary. What a fit that starts from `law` holds fixed must not vary, or
    its intervals cannot hold the truth. What is 0 stays 0. Raises `InputError` when no admissible set is met in 100 draws.
    """
    within("spread", spread, 0.0, 0.9)
    kind, template = class_of(law)
    base = kind.example() if template is None else template
    side = Side(base.stiffness or 1.0, base.stiffness or 1.0, 1.0)
    scales = Scales(side, side)
    form, _ = form_of(base, scales)
    varied = {b.name for b in space(form, form.read(base), scales, free, {}, {}, {})[0]}
    rng = np.random.default_rng(seed)
    values = form.read(base)
    for _ in range(100):
        drawn = {}
        for r in form.ranges:
            factor = np.exp(np.log1p(spread) * rng.uniform(-1.0, 1.0))
            value = values[r.name]
            if r.name in varied and value != 0.0:
                value *= factor
                value = float(min(max(value, r.low), r.high)) if r.unit == "1" else value
            drawn[r.name] = value
        try:
            return form.build(drawn)
        except InputError:
            continue
    raise InputError(f"no admissible {kind.__name__} within a spread of {spread:g}; allowed: a smaller one")


def virtual_test(
    law: Law,
    protocol: ProtocolHistory | np.ndarray,
    seed: int,
    noise: float = 0.02,
    quantum: float = 2.0**-11,
    *,
    name: str = "",
    kind: str = "translation",
) -> VirtualTest:
    """Lead `law` through `protocol` (m or rad) and measure its force as a laboratory does.

    White Gaussian noise of `noise` times the peak force, then steps of `quantum` times the peak force (2⁻¹¹: a
    converter of 12 bits over ± the peak); the deformation comes as it was commanded. Raises `InputError`.
    """
    within("noise", noise, 0.0, 1.0, hint="a share of the peak force: 0.02 is 2 %")
    within("quantum", quantum, 0.0, 0.5, hint="a share of the peak force")
    given = isinstance(protocol, ProtocolHistory)
    u = np.asarray(protocol.deformation if given else protocol, dtype=float)  # type: ignore[union-attr]
    time = protocol.time if given else None  # type: ignore[union-attr]
    silent = CyclicTest("silent", u, u, kind, time)
    force = Driven(silent).outputs([law])[0]
    peak = float(np.max(np.abs(force)))
    measured = force + noise * peak * np.random.default_rng(seed).normal(size=force.size)
    if quantum > 0.0:
        measured = np.round(measured / (quantum * peak)) * (quantum * peak)
    label = name or f"virtual {type(law).__name__}, seed {seed}"
    said = f"virtual test, noise {100 * noise:g} % of the peak force, steps of {quantum:g} of it, seed {seed}"
    return VirtualTest(CyclicTest(label, u, measured, kind, time, None, (said,)), law, force)
