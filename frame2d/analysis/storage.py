"""A `Response` as HDF5: the frame's JSON, raw histories, named tables; and back."""

import json
from typing import Any

import h5py
import numpy as np
from scipy.sparse import issparse

from frame2d.analysis.outcome import Outcome
from frame2d.analysis.response import TABLES, Log, Response
from frame2d.engine.plan import Motion
from frame2d.errors import InputError
from frame2d.model.schema import from_data, to_data
from frame2d.model.state import State
from frame2d.written import path_of, written

FORMAT = "frame2d/response/1"


def save(response: Response, path: Any) -> None:
    """Write beside the target and move into place. SI units.

    `tables` holds named columns for other programs: the main ones at its top, the other `TABLES` in groups.
    """
    with written(path) as beside, h5py.File(beside, "w") as file:
        file.attrs["format"] = FORMAT
        file.attrs["kind"] = response.kind
        file.attrs["outcome"] = response.outcome.name
        # A dataset: an attribute holds 64 KB, which a large frame passes.
        file["frame"] = json.dumps(to_data(response.system.frame))
        file["time"] = response.time
        file["support_history"] = response.support_history
        file["totals"] = response.totals
        for name, array in response.log._asdict().items():
            file.create_dataset(f"log/{name}", data=array, compression="gzip", compression_opts=1)
        for kind in TABLES:
            place = "tables" if kind == "main" else f"tables/{kind}"
            for name, array in response.table(kind).items():
                file[f"{place}/{name.replace('/', ' per ')}"] = array
        for name, array in response.state.motion._asdict().items():
            file[f"state/{name}"] = array
        file["state/load"] = response.state.load
        file["state/supports"] = response.state.supports
        file["state"].attrs["time"] = response.state.time
        file["state"].attrs["released"] = response.state.released
        file["state"].attrs["replaced"] = json.dumps(response.state.replaced)
        file["state"].attrs["cases"] = json.dumps(response.state.cases)
        for name, value in response.extra.items():
            if issparse(value):
                file[f"extra/{name}"] = value.toarray()
            elif isinstance(value, np.ndarray):
                file[f"extra/{name}"] = value
            elif isinstance(value, str | int | float):
                file.require_group("extra").attrs[name] = value


def load(path: Any) -> Response:
    """Read what `save` wrote; raises `InputError` for another kind of file, and where there is none."""
    path = path_of(path)
    try:
        opened = h5py.File(path, "r")
    except OSError as error:
        what = "there is none" if not path.exists() else f"it is no HDF5 file, or broken ({error})"
        raise InputError(
            f"{path} cannot be read: {what}. Likely mistake: the path, or another kind of file"
        ) from None
    with opened as file:
        if file.attrs.get("format") != FORMAT:
            raise InputError(f"{path} has format {file.attrs.get('format')!r}; allowed: {FORMAT!r}")
        system = from_data(
            json.loads(file["frame"][()] if "frame" in file else file.attrs["frame"])
        ).compile()
        log = Log(*(file[f"log/{name}"][()] for name in Log._fields))
        motion = Motion(*(file[f"state/{name}"][()] for name in Motion._fields))
        group = file["state"]
        state = State(
            motion,
            float(group.attrs["time"]),
            group["load"][()],
            group["supports"][()],
            float(group.attrs["released"]),
            tuple(json.loads(group.attrs["replaced"])),
            dict(json.loads(group.attrs.get("cases", "{}"))),
        )
        extra: dict[str, Any] = {"ground": None}
        if "extra" in file:
            extra.update({name: value[()] for name, value in file["extra"].items()})
            extra.update(dict(file["extra"].attrs))
        return Response(
            system,
            str(file.attrs["kind"]),
            file["time"][()],
            log,
            file["support_history"][()],
            state,
            Outcome[str(file.attrs["outcome"])],
            extra,
            file["totals"][()],
        )
