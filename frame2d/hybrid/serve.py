"""Serve any specimen over the wire, behind its own guard, each command at most once."""

import contextlib
import secrets
import socket
import threading
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from frame2d.errors import Frame2dError, within
from frame2d.hybrid.guard import Tripped
from frame2d.hybrid.limits import Limits, Table
from frame2d.hybrid.served import Remembering, Served, warm
from frame2d.hybrid.specimen import Command, LinkLost, Refused, as_specimen
from frame2d.hybrid.wire import (
    UNITS,
    VERSION,
    Channel,
    answer_message,
    array,
    check_address,
    command_message,
    digest,
    proof,
)

#: Seconds without a word from the solver that trip the guard.
SILENCE = 30.0


class Server:
    """A specimen behind its guard, waiting on `host`:`port` (0: any free port, then in `port`).

    One solver at a time. `silence`: seconds without a word, or a broken connection, that trip the guard. `release`
    asks the person at the rig, after a hold, whether a solver may go on; without it a hold lasts.
    `remember` answers are kept. `memory`: a journal of all commands; a replayable specimen (a model) that was killed
    is brought back from it by repeating them, with its session; any other keeps its answers but is refused if a
    command was under way.
    """

    def __init__(
        self,
        specimen: Any,
        limits: Limits,
        table: Table | None = None,
        host: str = "127.0.0.1",
        port: int = 0,
        secret: str | None = None,
        silence: float = SILENCE,
        release: Callable[[str], bool] | None = None,
        remember: int = 4096,
        memory: str | Path | None = None,
        freedoms: int = 1,
        stiffness: np.ndarray | None = None,
    ) -> None:
        check_address(host, secret)
        inner = as_specimen(specimen, freedoms)
        own = stiffness if stiffness is not None else getattr(inner, "stiffness", None)
        self._specimen = Remembering(inner)
        begun, known = (None, []) if memory is None else self._specimen.recall(Path(memory))
        self.guard = Served(self._specimen, limits, table, own, side="specimen")
        self.guard.ask = release
        self.secret = secret
        self.silence = within("Server.silence", silence, 0.0, 1e6, open_low=True)
        self.remember = int(within("Server.remember", remember, 1, 1e7))
        self._answers: OrderedDict[int, tuple[dict[str, Any], dict[str, Any]]] = OrderedDict()
        if begun is not None:
            self.guard.follow(begun, known)
        for command, reading in known:
            self._keep(command_message(command), answer_message(reading))
        warm(inner.freedoms)
        self._socket = socket.create_server((host, port), reuse_port=False)
        self.host, self.port = self._socket.getsockname()[:2]
        self._busy = threading.Lock()
        self._closed = threading.Event()

    def _keep(self, message: dict[str, Any], answer: dict[str, Any]) -> None:
        self._answers[message["sequence"]] = (message, answer)
        while len(self._answers) > self.remember:
            self._answers.popitem(last=False)

    # Serving

    def run(self) -> None:
        """Accept solvers until `close`."""
        while not self._closed.is_set():
            try:
                connection, _ = self._socket.accept()
            except OSError:
                return
            threading.Thread(target=self._session, args=(connection,), daemon=True).start()

    def close(self) -> None:
        """Stop accepting; the specimen stays where it is."""
        self._closed.set()
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        if self._specimen.journal is not None:
            self._specimen.journal.close()

    def _session(self, connection: socket.socket) -> None:
        try:
            channel = Channel(connection, "specimen")
        except OSError:
            connection.close()  # the other side is gone already
            return
        try:
            self._greet(channel)
            # One that has just said goodbye needs a moment to leave.
            if not self._busy.acquire(timeout=0.5):
                raise Refused("another solver is connected")
            try:
                self._welcome(channel)
                self._serve(channel)
            finally:
                self._busy.release()
        except Refused as reason:
            with contextlib.suppress(Frame2dError, OSError):
                channel.send({"refused": str(reason)})
        except (LinkLost, OSError):
            pass
        finally:
            channel.close()

    def _greet(self, channel: Channel) -> None:
        self._nonce = secrets.token_hex(16)
        mine = self._nonce
        protected = self.secret is not None
        channel.send(
            {"frame2d": "specimen", "version": VERSION, "units": UNITS, "nonce": mine, "secret": protected}
        )
        hello = channel.receive(10.0)
        if hello.get("frame2d") != "solver" or hello.get("version") != VERSION:
            raise Refused(f"version {hello.get('version')!r} of the wire; allowed: {VERSION}")
        if hello.get("units") != UNITS:
            raise Refused(f"units {hello.get('units')!r}; allowed: {UNITS!r}")
        channel.nonces = (mine, str(hello.get("nonce")))  # type: ignore[attr-defined]
        if self.secret is not None:
            import hmac

            expected = proof(self.secret, "solver", VERSION, UNITS, channel.nonces)  # type: ignore[attr-defined]
            if not hmac.compare_digest(str(hello.get("proof")), expected):
                raise Refused("the shared secret is wrong")

    def _welcome(self, channel: Channel) -> None:
        guard, nonces = self.guard, channel.nonces  # type: ignore[attr-defined]
        table = guard.table.text(guard.limits)
        welcome: dict[str, Any] = {
            "welcome": True,
            "freedoms": guard.freedoms,
            "session": guard.session,
            "last": guard.last_sequence,
            "about": guard.inner.describe(),
            "table": table,
            "digest": digest(table),
            "silence": self.silence,
            "release": guard.ask is not None,
            "state": guard.said_state,
        }
        if self.secret is not None:
            welcome["proof"] = proof(self.secret, "specimen", VERSION, UNITS, nonces)
        channel.send(welcome)
        if self.secret is not None:
            channel.protect(self.secret, nonces)

    def _serve(self, channel: Channel) -> None:
        while True:
            try:
                message = channel.receive(self.silence)
            except (LinkLost, Refused) as error:
                with contextlib.suppress(Tripped):
                    self.guard.trip("silence", str(error))
                raise
            if message.get("do") == "bye":
                channel.send({"ok": True})
                return
            try:
                answer = self._answer(message)
            except Refused as reason:
                answer = {"refused": str(reason)}
            except (KeyError, TypeError, ValueError) as error:
                answer = {"refused": f"the request is not complete: {error}"}
            channel.send(answer)

    def _answer(self, message: dict[str, Any]) -> dict[str, Any]:
        do, guard = message.get("do"), self.guard
        if do == "apply":
            return self._apply(message)
        if do == "read":
            if guard.state == "unloading":
                raise Refused("the specimen is unloading by itself; ask for its state")
            return answer_message(guard.read())
        if do == "answer":
            kept = self._answers.get(int(message["sequence"]))
            return kept[1] if kept else {"unknown": True}
        if do == "alive":
            return {"ok": True}
        if do == "stop":
            guard.stop(str(message.get("reason", "")))
            return {"ok": True}
        if do == "unload":
            guard.ask_unload(str(message.get("reason", "")))
        if do == "release":
            guard.ask_release()
        if do in ("state", "unload", "release"):
            return {"state": guard.said_state, "last": guard.last_sequence}
        raise Refused(
            f"request {do!r}; allowed: apply, read, answer, alive, state, unload, release, stop, bye"
        )

    def _apply(self, message: dict[str, Any]) -> dict[str, Any]:
        sequence = message["sequence"]
        if not isinstance(sequence, int):
            raise Refused(f"sequence number {sequence!r}; allowed: a whole number")
        asked = {key: message[key] for key in ("do", "sequence", "u", "t")}
        if sequence in self._answers:
            before, answer = self._answers[sequence]
            if before != asked:
                raise Refused(f"command {sequence} was executed before with another displacement or duration")
            return answer
        if sequence != self.guard.last_sequence + 1:
            raise Refused(f"command {sequence} is out of order; allowed: {self.guard.last_sequence + 1}")
        command = Command(sequence, array(message["u"]), float(message["t"]))
        try:
            reading = self.guard.apply(command)
        except Tripped as trip:
            answer = {"tripped": trip.event.plain()}
            if trip.reading is not None:
                answer |= answer_message(trip.reading)
                self._keep(asked, answer)
            return answer
        answer = answer_message(reading)
        self._keep(asked, answer)
        return answer


def serve(
    specimen: Any, limits: Limits, *, ready: Callable[[str, int], None] | None = None, **options: Any
) -> None:
    """Serve `specimen` until interrupted; `ready(host, port)` is called once it listens. Options as in `Server`.

    An interruption (Ctrl-C) is the operator's stop at the rig: it reaches the rig's own hardware.
    """
    server = Server(specimen, limits, **options)
    if ready is not None:
        ready(server.host, server.port)
    try:
        server.run()
    except KeyboardInterrupt:
        server.guard.stop("the operator at the rig ended its server")
    finally:
        server.close()
        server.guard.close()
