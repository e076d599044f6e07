"""A frame as JSON: one object with the fields of `Frame`, members and laws by name with their parameters, SI units.

{"schema": "frame2d/frame/1", "name": …, "nodes": [{"name", "x", "y"}], "supports": {node: [components]},
 "members": [{"name", "i", "j", "device", "member": {"family": …}}], "masses": {node: [mx, my, rotary]},
 "node_loads": [{"node", "fx", "fy", "mz", "case"}], "member_loads": […], "floors": {name: [nodes]},
 "ties": [[component, [nodes]]], "bodies": [[lead, [nodes], [components]]],
 "follows": [[[node, component], [[node, component, weight]]]] (may be absent)}
"""

import json
import math
from dataclasses import asdict, fields
from typing import Any

from frame2d import elements
from frame2d.errors import InputError, known, within
from frame2d.model.frame import Frame, MemberLoad
from frame2d.written import path_of, written

SCHEMA = "frame2d/frame/1"
NODE, PLACED = ("name", "x", "y"), ("name", "i", "j", "device", "member")
MEMBER_LOAD = tuple(entry.name for entry in fields(MemberLoad))


def to_data(frame: Frame) -> dict[str, Any]:
    """Frame as plain data."""
    return {
        "schema": SCHEMA,
        "name": frame.name,
        "nodes": [asdict(node) for node in frame.nodes.values()],
        "supports": {node: list(held) for node, held in frame.supports.items()},
        "members": [
            {"name": p.name, "i": p.i, "j": p.j, "device": p.device, "member": p.member.describe()}
            for p in frame.members.values()
        ],
        "masses": {node: list(values) for node, values in frame.masses.items()},
        "node_loads": [asdict(load) for load in frame.node_loads],
        "member_loads": [asdict(load) for load in frame.member_loads],
        "floors": {floor.name: list(floor.nodes) for floor in frame.floors.values()},
        "ties": [[component, list(nodes)] for component, nodes in frame.ties],
        "bodies": [[lead, list(nodes), list(parts)] for lead, nodes, parts in frame.bodies],
        "follows": [[list(follower), [list(term) for term in terms]] for follower, terms in frame.follows],
    }


def from_data(data: dict[str, Any]) -> Frame:
    """Frame from plain data; raises `InputError` where the schema is not met."""
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        found = data.get("schema") if isinstance(data, dict) else type(data).__name__
        raise InputError(f"schema is {found!r}; allowed: {SCHEMA!r}. Likely mistake: another kind of file")
    try:
        return _frame(data)
    except InputError:
        raise
    except (KeyError, TypeError, ValueError, AttributeError, IndexError) as error:
        raise InputError(
            f"the frame file lacks or misnames something ({type(error).__name__}: {error}); see the schema in "
            "frame2d.model.schema"
        ) from None


def _frame(data: dict[str, Any]) -> Frame:
    """Through the same doors as a script, so that files are checked like scripts."""
    _only("the frame file", data, (*to_data(Frame()),))
    frame = Frame(str(data["name"]))
    for node in data["nodes"]:
        _only(f"node {node['name']!r}", node, NODE)
        frame.node(node["name"], node["x"], node["y"])
    for name, held in data["supports"].items():
        frame.support(name, held)
    for entry in data["members"]:
        _only(f"member {entry['name']!r}", entry, PLACED)
        member = elements.build(entry["member"])
        frame.member(entry["name"], entry["i"], entry["j"], member, bool(entry["device"]))
    for node, (mx, my, rotary) in data["masses"].items():
        known("node", node, frame.nodes)
        values = (within(f"mass at node {node!r}", value, 0.0, math.inf) for value in (mx, my, rotary))
        frame.masses[node] = tuple(values)  # type: ignore[assignment]
    for load in data["node_loads"]:
        frame.load(**load)
    for load in data["member_loads"]:
        _only(f"load on member {load['member']!r}", load, MEMBER_LOAD)
        first, last = load["first"], load["last"]
        point = load["end"] is not None and load["end"] == load["begin"]
        frame.member_load(
            load["member"], (first[0], last[0]), (first[1], last[1]), load["begin"], load["end"], load["axes"],
            load["case"], point,
        )  # fmt: skip
    for name, nodes in data["floors"].items():
        frame.floor(name, nodes, tied=False)
    for component, nodes in data["ties"]:
        frame.tie(component, nodes)
    for lead, nodes, parts in data["bodies"]:
        frame.rigid(lead, nodes, parts)
    for (node, component), terms in data.get("follows", []):
        frame.follow(node, component, {(lead, part): weight for lead, part, weight in terms})
    return frame


def _only(thing: str, entry: dict[str, Any], names: tuple[str, ...]) -> None:
    """Refuse names that nobody reads: a misspelt one would be left out without a word."""
    for name in entry:
        known(f"entry of {thing}", name, names)


def save(frame: Frame, path: Any) -> None:
    """Write beside the target and move into place."""
    with written(path) as beside:
        beside.write_text(json.dumps(to_data(frame), indent=1, ensure_ascii=False), encoding="utf-8")


def load(path: Any) -> Frame:
    """Read a frame file."""
    try:
        data = json.loads(path_of(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}. Likely mistake: the path") from None
    except ValueError as error:
        raise InputError(f"{path} is not JSON: {error}") from None
    return from_data(data)
