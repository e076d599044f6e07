"""The two parts of a split as one frame again, tied at the interface alone: the reference that no scheme disturbs."""

from dataclasses import replace
from typing import TYPE_CHECKING

from frame2d.model.frame import Floor, Frame, Placed

if TYPE_CHECKING:
    from frame2d.substructure.split import Split


def twin(split: "Split", node: str) -> str:
    """Name in the joined frame of a node of the tested part."""
    return f"{node} tested" if node in split.computed.nodes else node


def joined(split: "Split") -> Frame:
    """Frame of both parts. Nodes that stand in both are doubled, and tied by the freedoms of the interface."""
    frame = Frame(f"{split.whole.name}: joined parts")
    computed, tested = split.computed, split.tested
    name = {node: twin(split, node) for node in tested.nodes}
    frame.nodes = dict(computed.nodes)
    frame.supports = dict(computed.supports)
    frame.members = dict(computed.members)
    frame.masses = dict(computed.masses)
    frame.node_loads = list(computed.node_loads)
    frame.member_loads = [*computed.member_loads, *tested.member_loads]
    frame.ties = list(computed.ties)
    frame.bodies = list(computed.bodies)
    frame.follows = list(computed.follows)
    for old in tested.nodes.values():
        frame.nodes[name[old.name]] = replace(old, name=name[old.name])
    for node, held in tested.supports.items():
        frame.supports[name[node]] = held
    for key, placed in tested.members.items():
        frame.members[key] = Placed(key, name[placed.i], name[placed.j], placed.member, placed.device)
    for node, masses in tested.masses.items():
        frame.masses[name[node]] = masses
    frame.node_loads += [replace(load, node=name[load.node]) for load in tested.node_loads]
    frame.ties += [(component, tuple(name[node] for node in group)) for component, group in tested.ties]
    frame.bodies += [(name[lead], tuple(name[n] for n in rest), parts) for lead, rest, parts in tested.bodies]
    for (node, component), terms in tested.follows:
        renamed = tuple((name[lead], part, weight) for lead, part, weight in terms)
        frame.follows.append(((name[node], component), renamed))
    for node, component in split.interface:
        frame.ties.append((component, (node, name[node])))
    for key, floor in split.whole.floors.items():
        here = tuple(node for node in floor.nodes if node in frame.nodes)
        frame.floors[key] = Floor(key, here or tuple(name[node] for node in floor.nodes))
    return frame
