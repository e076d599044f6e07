"""Loading protocols of the codes, and sequences of one's own."""

from collections.abc import Sequence

from frame2d.component_tests.protocol import Protocol, Step, steps_of
from frame2d.errors import InputError, positive, within


def eccs45(
    yield_up: float, multiples: Sequence[float] = (2, 4, 6, 8), *, yield_down: float | None = None
) -> Protocol:
    """One cycle each at ¼, ½, ¾ and 1 yield deformation, then three at each multiple of it (m or rad).

    Source: ECCS Technical Committee 1, "Recommended testing procedure for assessing the behaviour of
    structural steel elements under cyclic loads", No. 45, 1986, complete procedure: multiples (2 + 2n) (from
    memory).
    """
    up = positive("yield_up", yield_up)
    down = up if yield_down is None else positive("yield_down", yield_down, hint="give a magnitude")
    factors = [(0.25, 1), (0.5, 1), (0.75, 1), (1.0, 1)] + [(float(multiple), 3) for multiple in multiples]
    steps = tuple(Step(factor * up, factor * down, cycles) for factor, cycles in factors)
    return Protocol("ECCS 45", steps, "ECCS No. 45, 1986 (from memory)")


def fema461(target: float, *, steps: int = 10, ratio: float = 1.4, further: int = 0) -> Protocol:
    """Two cycles a step, amplitudes growing by `ratio` up to `target` (m or rad) at the last of `steps`.

    `further` steps then grow by 0.3 target each. Source: FEMA 461, "Interim testing protocols", 2007,
    protocol I: at least 10 steps, ratio 1.4, target Δm (checked against a loading-protocol script that quotes
    ten steps, aᵢ₊₁ = 1.4aᵢ and a₁ = 0.048Δm, github.com, 2026); the further steps are from memory.
    """
    positive("target", target)
    within("ratio", ratio, 1.0, 10.0, open_low=True, hint="it is the growth from step to step, 1.4")
    if steps < 10:
        raise InputError(
            f"steps is {steps}; allowed: 10 or more, the protocol's least number up to the target"
        )
    if further < 0:
        raise InputError(f"further is {further}; allowed: 0 or more")
    amplitudes = [target * ratio ** (i - steps) for i in range(1, steps + 1)]
    amplitudes += [target * (1.0 + 0.3 * i) for i in range(1, further + 1)]
    return Protocol("FEMA 461", steps_of(amplitudes, [2] * len(amplitudes)), "FEMA 461, 2007, protocol I")


def aisc341_beam_column(largest: float = 0.04) -> Protocol:
    """Storey drift angles (rad) of beam-to-column qualification up to `largest` (0.04 rad or more).

    6 cycles at 0.00375, 0.005, 0.0075, 4 at 0.01, 2 at 0.015, 0.02, 0.03, 0.04, then 2 every 0.01 rad.
    Source: ANSI/AISC 341-16, K2.4b (checked against a public summary of chapter K, github.com, 2026).
    """
    table = [(0.00375, 6), (0.005, 6), (0.0075, 6), (0.01, 4), (0.015, 2), (0.02, 2), (0.03, 2), (0.04, 2)]
    return _drifts("AISC 341 beam-column", table, 0.01, 2, largest, "ANSI/AISC 341-16, K2.4b")


def aisc341_link(largest: float = 0.09) -> Protocol:
    """Link rotation angles (rad) of link-to-column and link qualification up to `largest` (0.09 rad or more).

    6 cycles at 0.00375, 0.005, 0.0075, 0.01, 4 at 0.015, 0.02, 2 at 0.03, 1 at 0.04, 0.05, 0.07, 0.09, then
    1 every 0.02 rad. Source: ANSI/AISC 341-16, K2.4c (from memory).
    """
    table = [(0.00375, 6), (0.005, 6), (0.0075, 6), (0.01, 6), (0.015, 4), (0.02, 4), (0.03, 2)]
    table += [(0.04, 1), (0.05, 1), (0.07, 1), (0.09, 1)]
    return _drifts("AISC 341 link", table, 0.02, 1, largest, "ANSI/AISC 341-16, K2.4c (from memory)")


def _drifts(
    name: str, table: list[tuple[float, int]], increment: float, cycles: int, largest: float, source: str
) -> Protocol:
    end = table[-1][0]
    within("largest", largest, end, 1.0, hint="drift angles in rad: 4 % is 0.04")
    count = round((largest - end) / increment)
    if abs(end + count * increment - largest) > 1e-9:
        raise InputError(
            f"largest is {largest:g} rad; allowed: {end:g} plus whole increments of {increment:g}"
        )
    rows = table + [(end + i * increment, cycles) for i in range(1, count + 1)]
    return Protocol(name, steps_of([a for a, _ in rows], [n for _, n in rows]), source)


def constant(amplitude: float, cycles: int) -> Protocol:
    """`cycles` cycles of one amplitude (m or rad), as in low-cycle fatigue tests."""
    return Protocol("constant", steps_of([amplitude], [cycles]), "user sequence")


def increasing(amplitudes: Sequence[float], cycles: int | Sequence[int] = 1) -> Protocol:
    """Steps of the given amplitudes (m or rad), each with `cycles` cycles (one number, or one a step)."""
    counts = [cycles] * len(amplitudes) if isinstance(cycles, int) else list(cycles)
    if len(counts) != len(amplitudes):
        raise InputError(
            f"cycles has {len(counts)} entries for {len(amplitudes)} amplitudes; "
            "allowed: as many, or one number"
        )
    return Protocol("user sequence", steps_of(amplitudes, counts), "user sequence")
