"""Damage the weakened links of a small invented frame, replace them, and look at what the new ones do.

Run it: python examples/replace_links.py
"""

from frame2d import BeamColumn, Frame, Rayleigh, Response, gravity, push, time_history
from frame2d.materials import BoucWen
from frame2d.motions.en1998 import ElasticSpectrum
from frame2d.motions.synthetic import Envelope, synthetic_record
from frame2d.sections import european
from frame2d.units import kN, m, tonne

LINK = BoucWen(k=3.0e7, Fy=90e3, a=0.02, n=1.5)  # N·m/rad, N·m


def twin_columns(storeys: int = 3) -> Frame:
    """Twin columns 1.8 m apart, tied by short links with weakened ends."""
    frame = Frame("invented twin columns")
    column = BeamColumn.from_section(european("HE 240 B"), geometry="p-delta")
    weakened = BeamColumn.from_section(
        european("IPE 270"), start=LINK, end=LINK, start_inset=0.25 * m, end_inset=0.25 * m
    )
    for level in range(storeys + 1):
        for axis in (0, 1):
            name = f"{level}{'AB'[axis]}"
            frame.node(name, 1.8 * m * axis, 3.6 * m * level, support=None if level else "fixed")
            if level:
                frame.mass(name, 15 * tonne)
                frame.load(name, fy=-150 * kN)
                frame.member(f"column {name}", f"{level - 1}{name[-1]}", name, column)
        if level:
            frame.member(f"link {level}", f"{level}A", f"{level}B", weakened, device=True)
            frame.floor(f"floor {level}", [f"{level}A", f"{level}B"])
    return frame


def run(storeys: int = 3, strong: float = 6.0) -> tuple[Response, Response, Response]:
    """Earthquake, replacement with settling, and the same earthquake again."""
    system = twin_columns(storeys).compile()
    standing = gravity(system).state
    record = synthetic_record(
        ElasticSpectrum(ag=3.0, ground="B"), seed=3, envelope=Envelope(1.0, strong, 3.0), tolerance=0.15
    )
    damping = Rayleigh(0.03, (1, 2))
    first = time_history(system, record, standing, factor=1.5, damping=damping)
    fresh = system.replace_devices(first.state, system.frame.devices())
    # The roof is held while the new links take their first forces; then everything is let go.
    settled = push(system, fresh, node=f"{storeys}A", target=1e-6, steps=1)
    again = time_history(system, record, fresh, factor=1.5, damping=damping)
    return first, settled, again


if __name__ == "__main__":
    before, settled, after = run()
    for title, response in (("first earthquake", before), ("with new links", after)):
        worst = max(abs(drift).max() for drift in response.drifts().values())
        left = {name: round(float(drift[-1]), 5) for name, drift in response.drifts().items()}
        print(f"{title}: largest drift {worst:.4f}, residual {left}, imbalance {response.imbalance():.1e}")
    print(f"energy that went with the old links: {settled.state.released:.0f} J")
