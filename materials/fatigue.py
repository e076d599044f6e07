"""Low-cycle fatigue around any law: cycles counted as they happen, damage summed, fracture when it is spent.

    Δ − Δe = Δ₁·N^(−m): one cycle of range Δ does the damage d(Δ) = 1/N = ((Δ − Δe)/Δ₁)^(1/m), 0 for Δ ≤ Δe
    D = Σ d(closed cycles) + ½·Σ d(ranges still open)
    F = φ·F_inner,  φ = 1 − loss·D for D < 1, then (1 − loss)·(1 − t/t_f) down to 0, t the travel |Δu| since D = 1

Counting is the three-point rainflow rule, applied at every step: the present branch closes the range before
it as a full cycle once it is as long, or as half a cycle if that range holds the first point. Ranges that are
open count half, so D grows without jumps and never falls. Reversals wait in a stack of 64; when more are
nested, the oldest range becomes half a cycle for good. Reversals smaller than Δe do no damage and are not
counted.

Source: Coffin 1954, Manson 1953 (range against cycles, on the plastic part), Miner 1945 (sum); counting after
ASTM E1049-85, section 5.4.4 (all from memory; the counts of its worked example, fig. 6, are a test).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from frame2d.errors import InputError, positive, within
from frame2d.kernels import OK, at, call_law, compiled, law_kernel
from frame2d.materials.law import Law

#: Reversals that can wait to be closed.
DEPTH = 64
# Memory: what the inner kernel returns (4), damage counted for good, ½·Σ of the stack, D, travel since D = 1,
# reversals in the stack, furthest point of the branch, its direction, u; then the stack, then the inner
# memory.
_COUNTED, _OPEN, _DAMAGE, _TRAVEL, _REVERSALS, _FURTHEST, _DIRECTION, _U = 4, 5, 6, 7, 8, 9, 10, 11
_STACK = 12
_HEAD = _STACK + DEPTH


@compiled
def _cycle(span, elastic, one, power):  # type: ignore[no-untyped-def]
    """Damage of one cycle of range `span`."""
    plastic = abs(span) - elastic
    return (
        min(plastic / one, 1e3) ** power if plastic > 0.0 else 0.0
    )  # far beyond fracture the size no longer matters


@compiled
def _push(m, elastic, one, power):  # type: ignore[no-untyped-def]
    """Put the furthest point of the branch on the stack."""
    stack = at(m, _STACK)
    n = int(m[_REVERSALS])
    m[_OPEN] += 0.5 * _cycle(m[_FURTHEST] - stack[n - 1], elastic, one, power)
    if n == DEPTH:
        oldest = 0.5 * _cycle(stack[1] - stack[0], elastic, one, power)
        m[_OPEN] -= oldest
        m[_COUNTED] += oldest
        n -= 1
        for i in range(n):
            stack[i] = stack[i + 1]
    stack[n] = m[_FURTHEST]
    m[_REVERSALS] = n + 1.0


@compiled
def _close(m, elastic, one, power):  # type: ignore[no-untyped-def]
    """Count every range that the branch has reached."""
    stack = at(m, _STACK)
    n = int(m[_REVERSALS])
    while n >= 2 and abs(m[_FURTHEST] - stack[n - 1]) >= abs(stack[n - 1] - stack[n - 2]):
        damage = _cycle(stack[n - 1] - stack[n - 2], elastic, one, power)
        if n == 2:
            m[_COUNTED] += 0.5 * damage
            m[_OPEN] = 0.0
            stack[0] = stack[1]
            n = 1
        else:
            m[_COUNTED] += damage
            m[_OPEN] -= 0.5 * (damage + _cycle(stack[n - 2] - stack[n - 3], elastic, one, power))
            n -= 2
    if n == 1:
        m[_OPEN] = 0.0
    m[_REVERSALS] = float(n)


@compiled
def _count(m, u, elastic, one, power):  # type: ignore[no-untyped-def]
    """Move to u; returns the damage and its derivative in u."""
    direction = m[_DIRECTION]
    ahead = direction * (u - m[_FURTHEST])
    if direction == 0.0:
        direction = 1.0 if u > m[_FURTHEST] else (-1.0 if u < m[_FURTHEST] else 0.0)
        ahead = 1.0
    elif -ahead > elastic:
        _push(m, elastic, one, power)
        direction = -direction
        ahead = 1.0
    elif m[_REVERSALS] == 1.0 and direction * (u - m[_STACK]) < 0.0:
        # Back past the start of the history, in ranges that do no damage: the first turn becomes the start.
        m[_STACK] = m[_FURTHEST]
        direction = -direction
        ahead = 1.0
    slope = 0.0
    if ahead > 0.0:
        m[_DIRECTION] = direction
        m[_FURTHEST] = u
        _close(m, elastic, one, power)
    span = abs(m[_FURTHEST] - m[_STACK + int(m[_REVERSALS]) - 1])
    branch = 0.5 * _cycle(span, elastic, one, power)
    if ahead > 0.0 and branch > 0.0:
        slope = direction * power * branch / (span - elastic)
    return m[_COUNTED] + m[_OPEN] + branch, slope


@law_kernel
def kernel(p: Any, m0: Any, u: float, v: float, dt: float, out: Any, m1: Any) -> int:
    """Count, call the inner law, reduce what it returns."""
    elastic, one, power, loss, drop = p[0], p[1], p[2], p[3], p[4]
    status = call_law(p[5], at(p, 6), at(m0, _HEAD), u, v, dt, at(m1, 0), at(m1, _HEAD))
    if status != OK:
        return status
    for i in range(_COUNTED, _HEAD):
        m1[i] = m0[i]
    D, dD = _count(m1, u, elastic, one, power)
    D0 = m0[_DAMAGE]
    if D <= D0:
        D, dD = D0, 0.0
    step = u - m0[_U]
    if D < 1.0:
        factor, slope = 1.0 - loss * D, -loss * dD
    else:
        sign = 1.0 if step > 0.0 else (-1.0 if step < 0.0 else 0.0)
        share, share_slope = 1.0, 0.0
        if D0 < 1.0:  # D = 1 lies within the step: only the rest of it counts
            share = (D - 1.0) / (D - D0)
            share_slope = (1.0 - D0) / (D - D0) ** 2 * dD
        travel = m0[_TRAVEL] + abs(step) * share
        m1[_TRAVEL] = travel
        left = 1.0 - travel / drop
        factor = slope = 0.0
        if left > 0.0:
            factor = (1.0 - loss) * left
            slope = -(1.0 - loss) * (sign * share + abs(step) * share_slope) / drop
    m1[_DAMAGE], m1[_U] = D, u
    out[0] = factor * m1[0]
    out[1] = factor * m1[1] + slope * m1[0]
    out[2] = factor * m1[2]
    out[3] = factor * m1[3]
    return OK


@dataclass(frozen=True)
class LowCycleFatigue(Law):
    """`inner` law that wears out: one cycle of the range `one_cycle` (m or rad) breaks it.

    `exponent` m is about 0.5 for steel (Coffin, Manson; from memory). `elastic` is the part of a range that
    does no damage, for the Coffin-Manson relation of plastic ranges 2·Fy/k. `loss` is the share of force lost
    by the time of fracture, `drop` (m or rad) the travel within which force goes to zero; None: 2 % of
    `one_cycle`.
    """

    inner: Law
    one_cycle: float
    exponent: float = 0.5
    elastic: float = 0.0
    loss: float = 0.0
    drop: float | None = None

    kernel = kernel
    recoverable = "that of the inner law, reduced as its force"

    def __post_init__(self) -> None:
        if not isinstance(self.inner, Law):
            raise InputError(
                f"LowCycleFatigue.inner is {self.inner!r}; allowed: a law. Likely mistake: a number instead"
            )
        positive("LowCycleFatigue.one_cycle", self.one_cycle)
        within("LowCycleFatigue.exponent", self.exponent, 0.1, 1.0, hint="it is m of Δ = Δ₁·N^(−m), not 1/m")
        within("LowCycleFatigue.elastic", self.elastic, 0.0, np.inf)
        within("LowCycleFatigue.loss", self.loss, 0.0, 1.0, open_high=True)
        if self.drop is not None:
            positive("LowCycleFatigue.drop", self.drop, hint="a force that vanishes at once has no tangent")

    def parameters(self) -> np.ndarray:
        """Fatigue numbers, address of the inner kernel, its parameters."""
        drop = 0.02 * self.one_cycle if self.drop is None else self.drop
        own = [
            self.elastic,
            self.one_cycle,
            1.0 / self.exponent,
            self.loss,
            drop,
            float(self.inner.kernel.address),
        ]
        return np.concatenate([own, self.inner.parameters()])

    def initial_memory(self) -> np.ndarray:
        """Count that starts at u = 0, and the inner memory."""
        head = np.zeros(_HEAD)
        head[_REVERSALS] = 1.0
        return np.concatenate([head, self.inner.initial_memory()])

    @staticmethod
    def damage(memory: np.ndarray) -> float:
        """Miner's sum D in the memory of this law; fractured from 1 on."""
        return float(memory[_DAMAGE])

    def fractured(self, memory: np.ndarray) -> bool:
        """Whether the force has dropped to zero for good."""
        drop = 0.02 * self.one_cycle if self.drop is None else self.drop
        return bool(memory[_TRAVEL] >= drop)

    def memories(self, memory: np.ndarray) -> tuple[np.ndarray, ...]:
        """View of the memory of the inner law."""
        return (memory[_HEAD:],)

    @property
    def stiffness(self) -> float:
        return self.inner.stiffness

    @classmethod
    def example(cls) -> "LowCycleFatigue":
        from frame2d.materials.bilinear import Bilinear

        return cls(inner=Bilinear(k=1e7, Fy=1e5, b=0.02), one_cycle=0.3, exponent=0.5, elastic=0.02, loss=0.1)
