"""A frame as JSON: one object with the fields of `Frame`, members and laws by name with their parameters, SI units.

{"schema": "frame2d/frame/1", "name": …, "nodes": [{"name", "x", "y"}], "supports": {node: [components]},
 "members": [{"name", "i", "j", "device", "member": {"family": …}}], "masses": {node: [mx, my, rotary]},
 "node_loads": [{"node", "fx", "fy", "mz", "case"}], "member_loads": […], "floors": {name: [nodes]},
 "ties": [[component, [nodes]]], "bodies": [[lead, [nodes], [components]]],
 "follows": [[[node, component], [[node, component, weight]]]] (may be absent)}
"""

import json
import os
from dataclasses import asdict
from pathlib import Path
from typing import Any

from frame2d import elements
from frame2d.errors import InputError
from frame2d.model.frame import Floor, Frame, MemberLoad, NodeLoad

SCHEMA = "frame2d/frame/1"


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
    if data.get("schema") != SCHEMA:
        raise InputError(
            f"schema is {data.get('schema')!r}; allowed: {SCHEMA!r}. Likely mistake: another kind of file"
        )
    try:
        frame = Frame(data["name"])
        for node in data["nodes"]:
            frame.node(node["name"], node["x"], node["y"])
        for name, held in data["supports"].items():
            frame.support(name, held)
        for entry in data["members"]:
            frame.member(
                entry["name"], entry["i"], entry["j"], elements.build(entry["member"]), entry["device"]
            )
        frame.masses = {node: (v[0], v[1], v[2]) for node, v in data["masses"].items()}
        frame.node_loads = [NodeLoad(**load) for load in data["node_loads"]]
        frame.member_loads = [
            MemberLoad(**{**load, "first": tuple(load["first"]), "last": tuple(load["last"])})
            for load in data["member_loads"]
        ]
        frame.floors = {name: Floor(name, tuple(nodes)) for name, nodes in data["floors"].items()}
        frame.ties = [(component, tuple(nodes)) for component, nodes in data["ties"]]
        frame.bodies = [(lead, tuple(nodes), tuple(parts)) for lead, nodes, parts in data["bodies"]]
        for (node, component), terms in data.get("follows", []):
            frame.follow(node, component, {(lead, part): weight for lead, part, weight in terms})
    except (KeyError, TypeError) as error:
        raise InputError(
            f"the frame file lacks or misnames {error}; see the schema in frame2d.model.schema"
        ) from None
    return frame


def save(frame: Frame, path: Any) -> None:
    """Write beside the target and move into place."""
    target = Path(path)
    beside = target.with_name(target.name + ".part")
    beside.write_text(json.dumps(to_data(frame), indent=1, ensure_ascii=False))
    os.replace(beside, target)


def load(path: Any) -> Frame:
    """Read a frame file."""
    try:
        data = json.loads(Path(path).read_text())
    except json.JSONDecodeError as error:
        raise InputError(f"{path} is not JSON: {error}") from None
    return from_data(data)
