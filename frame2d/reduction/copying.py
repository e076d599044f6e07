"""A frame that may be changed without changing the one it came from."""

from copy import copy
from dataclasses import fields, replace

from frame2d.model import Frame


def copied(frame: Frame, name: str | None = None) -> Frame:
    """Independent copy of a frame; members and laws are immutable and shared."""
    own = {entry.name: copy(getattr(frame, entry.name)) for entry in fields(frame)}
    return replace(frame, **{**own, "name": frame.name if name is None else name})
