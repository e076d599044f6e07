"""A `State` on disk (HDF5) and back: what lets a campaign go on where it stopped, bit for bit."""

import json
from pathlib import Path
from typing import Any

import h5py

from frame2d.engine.plan import Motion
from frame2d.errors import InputError
from frame2d.model.state import State
from frame2d.written import written

FORMAT = "frame2d/state/1"


def save_state(state: State, path: Any) -> None:
    """Write beside the target and move into place."""
    target = Path(path)
    with written(target) as beside, h5py.File(beside, "w") as file:
        file.attrs["format"] = FORMAT
        for name, array in state.motion._asdict().items():
            file[f"motion/{name}"] = array
        file["load"], file["supports"] = state.load, state.supports
        file.attrs["time"], file.attrs["released"] = state.time, state.released
        file.attrs["replaced"], file.attrs["cases"] = json.dumps(state.replaced), json.dumps(state.cases)


def load_state(path: Any) -> State:
    """Read what `save_state` wrote; raises `InputError` for another kind of file."""
    with h5py.File(path, "r") as file:
        if file.attrs.get("format") != FORMAT:
            raise InputError(f"{path} has format {file.attrs.get('format')!r}; allowed: {FORMAT!r}")
        return State(
            Motion(*(file[f"motion/{name}"][()] for name in Motion._fields)),
            float(file.attrs["time"]),
            file["load"][()],
            file["supports"][()],
            float(file.attrs["released"]),
            tuple(json.loads(file.attrs["replaced"])),
            dict(json.loads(file.attrs["cases"])),
        )
