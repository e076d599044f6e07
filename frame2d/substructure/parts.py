"""Two frames out of one: which members, nodes, masses, loads and constraints go to which part, each exactly once."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from frame2d.errors import InputError, known, within
from frame2d.model.frame import Floor, Frame

COMPUTED, TESTED = "computed", "tested"


def tested_members(frame: Frame, names: Iterable[str]) -> set[str]:
    """Names of the tested members, checked: known, at least one, and not all of them."""
    if isinstance(names, str):
        raise InputError(
            f"tested is {names!r}; allowed: a list of member, link or device names. "
            f"Likely mistake: a single name without brackets, use [{names!r}]"
        )
    chosen = {known("tested member", name, frame.members) for name in names}
    if not chosen or len(chosen) == len(frame.members):
        count = "no member" if not chosen else "every member"
        raise InputError(
            f"the tested part has {count} of frame {frame.name!r}; allowed: at least one, and at least one left "
            "to compute"
        )
    return chosen


def nodes_of(frame: Frame, members: Iterable[str]) -> set[str]:
    """Nodes that the members end at."""
    return {end for name in members for end in (frame.members[name].i, frame.members[name].j)}


def spread_nodes(frame: Frame, tested: set[str]) -> tuple[set[str], set[str]]:
    """Nodes of the computed and the tested part; ties and rigid bodies across the cut get a node in both."""
    own = nodes_of(frame, tested)
    rest = nodes_of(frame, set(frame.members) - tested)
    # A node that only carries mass or leads a body stays computed.
    rest |= set(frame.nodes) - own - rest
    for _, group in frame.ties:
        here, there = set(group) & own, set(group) & rest
        if here and there and not here & there:
            rest.add(next(node for node in group if node in own))
    for lead, followers, _ in frame.bodies:
        reached = {lead, *followers}
        if reached & own and reached & rest:
            own.add(lead)
            rest.add(lead)
    for (node, _), terms in frame.follows:
        leads = {lead for lead, _, _ in terms}
        for side in (own, rest):
            if node in side:
                side |= leads
    return rest, own


def shares(
    frame: Frame,
    tested: set[str],
    computed_nodes: set[str],
    tested_nodes: set[str],
    given: Mapping[str, float],
) -> dict[str, float]:
    """Share of every node's masses and loads that belongs to the tested part, from 0 to 1.

    A node whose members are all tested belongs there; a node with members of both parts is computed unless `given`
    says otherwise.
    """
    own, rest = nodes_of(frame, tested), nodes_of(frame, set(frame.members) - tested)
    result = {}
    for node in frame.nodes:
        result[node] = 1.0 if node in own and node not in rest else 0.0
    for node, share in given.items():
        known("node with a share", node, frame.nodes)
        if not (node in computed_nodes and node in tested_nodes):
            side = TESTED if node in tested_nodes else COMPUTED
            raise InputError(
                f"node {node!r} stands in the {side} part alone; allowed: shares of nodes that stand in both parts"
            )
        result[node] = within(f"share of node {node!r}", share, 0.0, 1.0, hint="1 is all to the tested part")
    return result


def part_of(frame: Frame, name: str, members: set[str], nodes: set[str], share: Mapping[str, float]) -> Frame:
    """Frame of some members and nodes; `share` weighs the masses and loads of each node."""
    part = Frame(f"{frame.name}: {name} part")
    part.nodes = {key: node for key, node in frame.nodes.items() if key in nodes}
    part.supports = {key: held for key, held in frame.supports.items() if key in nodes}
    part.members = {key: placed for key, placed in frame.members.items() if key in members}
    for node, (mx, my, mr) in frame.masses.items():
        if node in nodes and share[node] > 0.0:
            part.masses[node] = (share[node] * mx, share[node] * my, share[node] * mr)
    for load in frame.node_loads:
        if load.node in nodes and share[load.node] > 0.0:
            s = share[load.node]
            part.node_loads.append(replace(load, fx=s * load.fx, fy=s * load.fy, mz=s * load.mz))
    part.member_loads = [load for load in frame.member_loads if load.member in members]
    for key, floor in frame.floors.items():
        here = tuple(node for node in floor.nodes if node in nodes)
        if here:
            part.floors[key] = Floor(key, here)
    for component, group in frame.ties:
        here = tuple(node for node in group if node in nodes)
        if len(here) > 1:
            part.ties.append((component, here))
    for lead, followers, components in frame.bodies:
        here = tuple(node for node in followers if node in nodes)
        if lead in nodes and here:
            part.bodies.append((lead, here, components))
    part.follows = [
        (follower, terms)
        for follower, terms in frame.follows
        if {follower[0], *(lead for lead, _, _ in terms)} <= nodes
    ]
    return part
