"""Servo-hydraulic actuator: its parameters, its controller's, its sensors', and the closed forms that follow from them.

Plant, per actuator (x stroke, v velocity, p load pressure, s spool in [−1, 1]):

    s̈ = ω_v²(s_c − s) − 2ζ_v·ω_v·ṡ
    Q = K_q·s·√|1 − sgn(s)·p/p_s|·sgn(1 − sgn(s)·p/p_s),  K_q = Q_rated·√(p_s/Δp_rated)
    (V/4β + A²/k_r)·ṗ = Q − A·v − C·p          oil column in series with the reaction frame k_r
    M·v̇ = A·p − B·v − F_friction − F_specimen  friction: Coulomb, exact sticking

Source: H. E. Merritt, Hydraulic Control Systems, 1967, ch. 6 (flow through a spool valve, valve-piston combination;
equation numbers not at hand); friction after Coulomb. Typical values: common practice for a 1 MN structural actuator,
no single source.
"""

from dataclasses import asdict, dataclass, fields
from math import cos, exp, inf, pi, sin, sqrt
from typing import Any

import numpy as np

from frame2d.errors import InputError, known, positive, within


def _not_negative(owner: Any, *names: str, infinite: tuple[str, ...] = ()) -> None:
    for name in names:
        value = getattr(owner, name)
        if not (name in infinite and value == inf):
            within(f"{type(owner).__name__}.{name}", value, 0.0, 1e30)


@dataclass(frozen=True)
class Actuator:
    """A double-acting, double-ended piston with a servo valve; defaults are typical of 1 MN at 21 MPa.

    Properties give the stalled force, the no-load velocity, and the linear model about a spool position.
    """

    #: Piston area, m² (1 MN at 21 MPa).
    area: float = 0.0476
    #: Largest stroke to each side, m.
    half_stroke: float = 0.25
    #: Supply pressure less return, Pa (21 MPa is the usual laboratory supply).
    supply: float = 21e6
    #: Valve flow at full opening and `rated_drop`, m³/s (250 L/min).
    rated_flow: float = 250.0 / 60000.0
    #: Pressure drop of the valve's rating, Pa (7 MPa is the usual rating).
    rated_drop: float = 7e6
    #: Natural frequency of the valve, Hz (60-150 for 63-400 L/min).
    valve_frequency: float = 100.0
    #: Damping ratio of the valve.
    valve_damping: float = 0.8
    #: Effective bulk modulus of oil with its air and hoses, Pa (0.7 GPa: Merritt 1967).
    bulk_modulus: float = 0.7e9
    #: Oil between valve and piston, both chambers, m³ (area × full stroke × 1.1).
    trapped_volume: float = 0.0262
    #: Leakage across the piston, m³/s per Pa.
    leakage: float = 5e-12
    #: Piston, rod and fixtures on the actuator's side of the load cell, kg.
    moving_mass: float = 2000.0
    #: Viscous friction, N·s/m.
    viscous: float = 1e4
    #: Coulomb friction of seals, N (0.2 % of the capacity; 0 for hydrostatic bearings).
    friction: float = 2e3
    #: Break-away friction over sliding friction.
    breakaway: float = 1.2
    #: Stiffness of the reaction frame along the actuator, N/m (`inf`: rigid).
    reaction_stiffness: float = 5e8
    #: Total clearance of the pins, m.
    backlash: float = 0.0
    #: Mass of the specimen between load cell and specimen, felt by the load cell, kg.
    specimen_mass: float = 0.0
    #: Viscous damping of the specimen, felt by the load cell, N·s/m.
    specimen_damping: float = 0.0

    def __post_init__(self) -> None:
        for name in ("area", "half_stroke", "supply", "rated_flow", "rated_drop", "valve_frequency", "valve_damping",
                     "bulk_modulus", "trapped_volume", "moving_mass", "reaction_stiffness"):  # fmt: skip
            if name == "reaction_stiffness" and self.reaction_stiffness == inf:
                continue
            positive(f"Actuator.{name}", getattr(self, name))
        _not_negative(self, "leakage", "viscous", "friction", "backlash", "specimen_mass", "specimen_damping")
        within(
            "Actuator.breakaway",
            self.breakaway,
            1.0,
            5.0,
            hint="it is the ratio of break-away to sliding friction",
        )
        if self.supply < 1e5:
            raise InputError(
                f"Actuator.supply is {self.supply:g}; allowed: pressures in Pa above 1e5. Likely mistake: MPa or bar"
            )

    @property
    def flow_gain(self) -> float:
        """Flow at full opening without load, m³/s."""
        return self.rated_flow * sqrt(self.supply / self.rated_drop)

    @property
    def stalled_force(self) -> float:
        """Force at which the flow stops, A·p_s, N."""
        return self.area * self.supply

    @property
    def no_load_velocity(self) -> float:
        """Velocity at full opening without load, K_q/A, m/s."""
        return self.flow_gain / self.area

    def velocity_at(self, force: float) -> float:
        """Largest velocity against a force F: v_0·√(1 − F/(A·p_s)), without friction and leakage (Merritt 1967)."""
        return self.no_load_velocity * sqrt(max(0.0, 1.0 - force / self.stalled_force))

    @property
    def oil_compliance(self) -> float:
        """V/4β + A²/k_r, m³/Pa."""
        return self.trapped_volume / (4.0 * self.bulk_modulus) + self.area**2 / self.reaction_stiffness

    @property
    def oil_stiffness(self) -> float:
        """Oil column in series with the reaction frame, N/m."""
        return self.area**2 / self.oil_compliance

    def transfer(
        self, omega: np.ndarray, stiffness: float = 0.0, spool: float = 0.0, pressure: float = 0.0
    ) -> np.ndarray:
        """Complex ratio stroke/spool at `omega` (rad/s) against a specimen of `stiffness` (N/m), friction left out.

        X/S = (g/A) / {(D·M/A²)s³ + [K_ce·M/A² + B·D/A²]s² + [1 + B·K_ce/A² + K·D/A²]s + K_ce·K/A²}, D = V/4β + A²/k_r,
        about a spool opening and load pressure. Source: Merritt 1967, ch. 6, valve-piston combination with spring
        load, third order; the reaction frame only enlarges D.
        """
        s = 1j * np.asarray(omega)
        opening = abs(spool)
        root = sqrt(max(1.0 - np.sign(spool) * pressure / self.supply, 1e-12))
        gain = self.flow_gain * root
        loss = self.leakage + self.flow_gain * opening / (2.0 * self.supply * root)
        D, A2 = self.oil_compliance, self.area**2
        M, B = self.moving_mass + self.specimen_mass, self.viscous + self.specimen_damping
        denominator = D * M / A2 * s**3 + (loss * M + B * D) / A2 * s**2
        denominator += (1.0 + (B * loss + stiffness * D) / A2) * s + loss * stiffness / A2
        return np.asarray(gain / self.area / denominator)

    def valve_transfer(self, omega: np.ndarray) -> np.ndarray:
        """Complex ratio spool/valve command, second order."""
        w, s = 2.0 * pi * self.valve_frequency, 1j * np.asarray(omega)
        return np.asarray(w**2 / (s**2 + 2.0 * self.valve_damping * w * s + w**2))

    def valve_step(self, h: float) -> np.ndarray:
        """Matrix (2, 2) that takes (spool − held command, its rate) `h` seconds on: e^(h·[[0, 1], [−ω², −2ζω]]).

        The free vibration of one freedom in closed form, under-, over- and critically damped.
        """
        w, z = 2.0 * pi * self.valve_frequency, self.valve_damping
        bent, fade = w * sqrt(abs(z * z - 1.0)), exp(-z * w * h)
        if bent * h < 1e-8:
            c, s = fade, fade * h
        elif z < 1.0:
            c, s = fade * cos(bent * h), fade * sin(bent * h) / bent
        else:
            slow, fast = exp((bent - z * w) * h), exp(-(bent + z * w) * h)
            c, s = 0.5 * (slow + fast), 0.5 * (slow - fast) / bent
        return np.array([[c + z * w * s, s], [-w * w * s, c - z * w * s]])

    @property
    def hydraulic_frequency(self) -> float:
        """Oil-column resonance of the free piston, Hz."""
        return sqrt(self.oil_stiffness / (self.moving_mass + self.specimen_mass)) / (2.0 * pi)


@dataclass(frozen=True)
class Controller:
    """Closed loop on the stroke at the controller's rate.

    valve = kp·e + ki·∫e dt + kd·ė + kff·ċ − kdp·(high-passed load pressure), limited to ±1; e = command − feedback.
    Conditional integration stops the integral while the valve is saturated. Values: common practice, no source.
    """

    #: Controller steps per second, Hz.
    rate: float = 1024.0
    #: Integration steps of the plant in a controller step.
    substeps: int = 1
    #: Valve opening per m of error; bandwidth ≈ kp·no-load velocity (rad/s).
    kp: float = 250.0
    #: Per m·s.
    ki: float = 0.0
    #: Per m/s.
    kd: float = 0.0
    #: Valve opening per m/s of command velocity; 1/no-load velocity cancels the lag of the loop.
    kff: float = 0.0
    #: Valve opening per Pa of load pressure above `dp_corner`.
    kdp: float = 1.5e-7
    #: Corner of the high-pass filter of the load pressure, Hz.
    dp_corner: float = 5.0
    #: Delay of the command on its way to the controller, s.
    delay: float = 0.0
    #: 'external': transducer on the specimen; 'built-in': transducer in the actuator, which also sees the reaction
    #: frame and the pins.
    feedback: str = "external"

    def __post_init__(self) -> None:
        positive("Controller.rate", self.rate)
        positive("Controller.dp_corner", self.dp_corner)
        if int(self.substeps) != self.substeps or not 1 <= self.substeps <= 64:
            raise InputError(
                f"Controller.substeps is {self.substeps!r}; allowed: a whole number from 1 to 64"
            )
        _not_negative(self, "kp", "ki", "kd", "kff", "kdp", "delay")
        known("Controller.feedback", self.feedback, ("external", "built-in"))


@dataclass(frozen=True)
class Sensors:
    """Errors of the displacement (m) and force (N) channels: noise (rms), resolution, drift and its random walk.

    Typical: 0.01 mm rms and 0.005 mm resolution over ±250 mm, 0.02 % of the load cell's range; common practice.
    """

    displacement_noise: float = 0.0
    force_noise: float = 0.0
    displacement_step: float = 0.0
    force_step: float = 0.0
    #: Steady drift, m/s and N/s.
    displacement_drift: float = 0.0
    force_drift: float = 0.0
    #: Random walk, m/√s and N/√s.
    displacement_walk: float = 0.0
    force_walk: float = 0.0

    def __post_init__(self) -> None:
        _not_negative(self, *(field.name for field in fields(self) if not field.name.endswith("drift")))

    @classmethod
    def typical(cls) -> "Sensors":
        """A 1 MN actuator with ±250 mm; common practice, no source."""
        return cls(1e-5, 200.0, 5e-6, 30.0, 0.0, 0.0, 1e-7, 2.0)


def described(*parts: Any) -> list[dict[str, Any]]:
    """Parameters of frozen dataclasses as plain data."""
    return [{"kind": type(part).__name__, **asdict(part)} for part in parts]


def loop_lag(actuator: Actuator, controller: Controller, stiffness: float = 0.0) -> float:
    """Lag of the closed loop behind a slow command, s, against a specimen of `stiffness` (N/m), ki = kd = 0.

    τ = [A/K_q·(1 + K·D/A²) + kdp·K/(A·ω_c) − kff]/kp + delay − 1/rate: flow to move the piston and to compress the
    oil, pressure feedback, feed-forward, and the controller step by which a command is known in advance. Derived from
    the plant's equations of this file at low frequency; friction left out.
    """
    if controller.kp == 0.0:
        raise InputError("Controller.kp is 0: the loop does not follow; allowed: above 0")
    move = actuator.area / actuator.flow_gain * (1.0 + stiffness / actuator.oil_stiffness)
    damp = controller.kdp * stiffness / (actuator.area * 2.0 * pi * controller.dp_corner)
    return (move + damp - controller.kff) / controller.kp + controller.delay - 1.0 / controller.rate
