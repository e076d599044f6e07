"""`frame2d specimen`: serve a specimen behind its guard until interrupted."""

import importlib
import json
import os
import sys
from pathlib import Path
from typing import Any

from frame2d.errors import InputError, positive, within
from frame2d.hybrid.caution import CAUTION
from frame2d.hybrid.limits import Limits, Table
from frame2d.hybrid.serve import SILENCE, serve
from frame2d.hybrid.specimen import Refused, Specimen
from frame2d.hybrid.wire import is_loopback

#: Environment variable that holds the shared secret; a secret on a command line is read by everybody.
SECRET = "FRAME2D_SECRET"


def made_by(where: str) -> tuple[Specimen, Limits, Table]:
    """What the function ``module:function`` returns; raises `InputError` if there is none, or returns something else."""
    module, _, name = where.partition(":")
    try:
        function = getattr(importlib.import_module(module), name)
    except (ImportError, AttributeError, ValueError):
        raise InputError(
            f"maker of the specimen is {where!r}; allowed: module:function of an installed module, which returns "
            "(specimen, limits, table)"
        ) from None
    made: Any = function()
    kinds = (Specimen, Limits, Table)
    if not (isinstance(made, tuple) and len(made) == 3 and all(map(isinstance, made, kinds))):
        raise InputError(
            f"maker {where!r} returned {type(made).__name__} {made!r:.80}; allowed: a tuple (specimen, limits, table). "
            "Likely mistake: an object with measure() is made a specimen by frame2d.hybrid.as_specimen(it, freedoms)"
        )
    return made


def asked(question: str) -> bool:
    """Whether the person at this terminal types yes; False where there is no terminal."""
    if not sys.stdin.isatty():
        return False
    return input(f"{question}\nType yes to confirm: ").strip().lower() == "yes"


def run(
    maker: str,
    host: str = "127.0.0.1",
    port: int = 0,
    ready: str | None = None,
    memory: str | None = None,
    silence: float = SILENCE,
) -> int:
    """Serve what `maker` makes; tells the address on the terminal and, as JSON, in the file `ready`.

    At a terminal the person there confirms the table first, or nothing is served. `silence`: seconds without a word
    from the solver that make the guard act.
    """
    within("port", port, 0, 65535, hint="0 takes any free port")
    positive("silence", silence)
    secret = os.environ.get(SECRET) or None
    if not is_loopback(host) and secret is None:
        raise InputError(
            f"address of the specimen is {host!r} without a secret; allowed: loopback, or a shared secret in the "
            f"environment variable {SECRET}"
        )
    specimen, limits, table = made_by(maker)
    print(CAUTION)
    print(table.text(limits))
    if sys.stdin.isatty():
        if not asked("Serve the specimen under these limits and actions?"):
            raise Refused("the table of limits and actions was not confirmed: nothing is served")
    else:
        print(
            "no terminal: nobody here confirms this table or can end a hold; the solver's operator reads it too"
        )

    def listening(host: str, port: int) -> None:
        print(
            f"specimen {specimen.describe()['specimen']} listens on {host}:{port}; end with Ctrl-C",
            flush=True,
        )
        if ready is not None:
            beside = Path(f"{ready}.part")
            beside.write_text(json.dumps({"host": host, "port": port}))
            os.replace(beside, ready)

    serve(
        specimen, limits, table=table, ready=listening, host=host, port=port, secret=secret,
        release=asked if sys.stdin.isatty() else None, memory=memory, freedoms=specimen.freedoms, silence=silence,
    )  # fmt: skip
    return 0
