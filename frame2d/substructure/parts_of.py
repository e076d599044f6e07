"""The two parts of a split made ready to be coupled: signed interfaces, shared damping, record and states."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.sparse import csr_matrix

from frame2d.analysis.damping import Rayleigh, StiffnessMass, rayleigh_coefficients
from frame2d.analysis.modes import modes
from frame2d.analysis.schemes import Scheme, chung_hulbert
from frame2d.errors import InputError
from frame2d.model.frame import COMPONENTS
from frame2d.model.state import State
from frame2d.model.system import System
from frame2d.substructure.frame_part import FramePart
from frame2d.substructure.parts import COMPUTED, TESTED
from frame2d.substructure.split import Split


def shared_damping(system: System, damping: Any, state: State | None = None) -> StiffnessMass | None:
    """Damping of a whole `system` by two coefficients, which its parts can share.

    Raises `InputError` for damping that ties all freedoms together (modal, Caughey).
    """
    if damping is None or isinstance(damping, StiffnessMass):
        return damping
    if not isinstance(damping, Rayleigh):
        raise InputError(
            f"damping is {damping!r}; allowed: Rayleigh or StiffnessMass. Modal and Caughey damping tie freedoms of "
            "both parts together and cannot be shared out"
        )
    found = modes(system, state, max(damping.modes))
    if max(damping.modes) > found.omega.size:
        raise InputError(
            f"Rayleigh.modes is {damping.modes!r}; allowed: modes up to {found.omega.size}, the last"
        )
    i, j = (float(found.omega[number - 1]) for number in damping.modes)
    return StiffnessMass(*rayleigh_coefficients(damping.ratio, i, damping.ratio, j))


def parts_of(
    cut: Split,
    dt: float | Mapping[str, float],
    *,
    scheme: Scheme | Mapping[str, Scheme] | None = None,
    damping: Any = None,
    record: Any = None,
    factor: float = 1.0,
    states: Mapping[str, State] | None = None,
    forces: Mapping[tuple[str, str], Any] | None = None,
) -> list[FramePart]:
    """Parts "computed" (+) and "tested" (−) of a split, for `coupled_history`: the multipliers act on the computed part.

    `dt` and `scheme` are one for both or by part; `damping` of the whole is shared out; `states` come from
    `Split.share` or `Split.start`; `forces` by (node, component) act on the computed part where it has the node, at its
    own step.
    """
    whole = cut.joined_system if cut.released else cut.whole_system
    own = shared_damping(whole, damping)
    made = []
    for part, sign in ((COMPUTED, 1.0), (TESTED, -1.0)):
        step = dt[part] if isinstance(dt, Mapping) else dt
        chosen = scheme[part] if isinstance(scheme, Mapping) else scheme or chung_hulbert()
        here = {
            key: values
            for key, values in (forces or {}).items()
            if (key[0] in cut.computed.nodes) == (part == COMPUTED)
        }
        B, state = sign * cut.pick(part), (states or {}).get(part)
        made.append(FramePart(part, cut.system(part), B, step, chosen, own, state, record, factor, here))
    return made


def tie(systems: Mapping[str, System]) -> dict[str, Any]:
    """Signed interface rows of several systems at the free freedoms of their common nodes.

    A freedom of p systems gives p − 1 ties, of which none follows from the others.
    """
    names = list(systems)
    widths = [systems[name].count for name in names]
    firsts = dict(zip(names, np.concatenate([[0], np.cumsum(widths)[:-1]]), strict=True))
    basis, rows = np.zeros((0, sum(widths))), []
    nodes = dict.fromkeys(node for system in systems.values() for node in system.node_index)
    for node in nodes:
        for component in COMPONENTS:
            lead = None
            for name in names:
                if node not in systems[name].node_index:
                    continue
                own = systems[name].row(node, component)
                if not np.any(own):
                    continue
                here = np.zeros(sum(widths))
                here[firsts[name] : firsts[name] + own.size] = own
                if lead is not None:
                    row = lead - here
                    apart = row - basis.T @ (basis @ row)
                    apart -= basis.T @ (basis @ apart)
                    size = float(np.linalg.norm(apart))
                    if size > 1e-9 * float(np.linalg.norm(row)):
                        basis = np.vstack([basis, apart / size])
                        rows.append(row)
                lead = here
    if not rows:
        raise InputError(f"the systems {names} have no free freedom in common; allowed: systems that meet")
    table = np.array(rows)
    return {
        name: csr_matrix(table[:, firsts[name] : firsts[name] + width])
        for name, width in zip(names, widths, strict=True)
    }
