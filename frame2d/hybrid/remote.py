"""Specimen across the network: the solver's end of the wire."""

import contextlib
import hmac
import secrets
import socket
import threading
import time
from typing import Any

from frame2d.errors import positive, within
from frame2d.hybrid.guard import Tripped
from frame2d.hybrid.limits import Event
from frame2d.hybrid.specimen import Command, LinkLost, Reading, Refused, Specimen
from frame2d.hybrid.wire import (
    UNITS,
    VERSION,
    Channel,
    check_address,
    command_message,
    digest,
    proof,
    reading_of,
)

#: Seconds between two questions whether the specimen's side has finished what takes its time.
POLL = 0.1


class Remote(Specimen):
    """Connects to a `Server` at `host`:`port`.

    `patience`: seconds that an answer may take beyond the command's own duration. `retries`: how often a broken
    connection is opened again and the same command sent again (the specimen executes it at most once). Raises
    `Refused` for a wrong secret, version or unit, `LinkLost` when nobody answers. Where the specimen's guard holds and a
    person at the rig can be asked, connecting waits for the answer.
    """

    def __init__(
        self,
        host: str = "127.0.0.1",
        port: int = 0,
        secret: str | None = None,
        patience: float = 5.0,
        retries: int = 0,
    ) -> None:
        check_address(host, secret)
        self.host, self.port, self.secret = host, int(within("port", port, 1, 65535)), secret
        self.patience, self.retries = (
            positive("Remote.patience", patience),
            int(within("retries", retries, 0, 100)),
        )
        self._channel: Channel | None = None
        self._one_at_a_time = threading.RLock()
        welcome = self._connect()
        super().__init__(int(welcome["freedoms"]))
        self.session, self.last_sequence = str(welcome["session"]), int(welcome["last"])
        self.about: dict[str, Any] = welcome.get("about", {})
        #: What the specimen's guard does, with its limits, as its own operator reads it.
        self.table_text = str(welcome["table"])
        #: Seconds without a word after which the specimen's guard acts.
        self.silence = float(welcome["silence"])
        #: Whether somebody at the rig can be asked to end a hold.
        self.releasable = bool(welcome["release"])

    def _connect(self) -> dict[str, Any]:
        try:
            connection = socket.create_connection((self.host, self.port), timeout=self.patience)
        except OSError as error:
            raise LinkLost(f"no specimen at {self.host}:{self.port}: {error}") from None
        channel = Channel(connection, "solver")
        try:
            welcome = self._greet(channel)
            if welcome["state"] == "held" and welcome["release"]:
                channel.send({"do": "release"})
                while channel.receive(self.patience).get("state") == "asking":
                    time.sleep(POLL)
                    channel.send({"do": "state"})
        except BaseException:
            channel.close()
            raise
        self._channel = channel
        return welcome

    def _greet(self, channel: Channel) -> dict[str, Any]:
        hello = channel.receive(self.patience)
        if hello.get("frame2d") != "specimen":
            raise Refused(f"{self.host}:{self.port} is not a specimen")
        if hello.get("version") != VERSION:
            raise Refused(f"version {hello.get('version')!r} of the wire; allowed: {VERSION}")
        if hello.get("units") != UNITS:
            raise Refused(f"units {hello.get('units')!r}; allowed: {UNITS!r}")
        if self.secret is not None and not hello.get("secret"):
            raise Refused("the specimen asks for no secret; allowed: the same secret on both sides")
        nonces = (str(hello.get("nonce")), secrets.token_hex(16))
        answer = {"frame2d": "solver", "version": VERSION, "units": UNITS, "nonce": nonces[1]}
        if self.secret is not None:
            answer["proof"] = proof(self.secret, "solver", VERSION, UNITS, nonces)
        channel.send(answer)
        welcome = channel.receive(self.patience)
        if "refused" in welcome:
            raise Refused(f"the specimen refused the connection: {welcome['refused']}")
        if self.secret is not None:
            expected = proof(self.secret, "specimen", VERSION, UNITS, nonces)
            if not hmac.compare_digest(str(welcome.get("proof")), expected):
                raise Refused("the specimen does not know the shared secret")
            channel.protect(self.secret, nonces)
        if welcome["digest"] != digest(welcome["table"]):
            raise Refused("the specimen's table of limits and actions is not the one of its digest")
        return welcome

    def _ask(self, message: dict[str, Any], timeout: float) -> dict[str, Any]:
        # While a person decides, another thread tells the specimen's side that the solver is alive.
        with self._one_at_a_time:
            return self._asked(message, timeout)

    def _asked(self, message: dict[str, Any], timeout: float) -> dict[str, Any]:
        for attempt in range(self.retries + 1):
            try:
                if self._channel is None:
                    self._back(self._connect())
                assert self._channel is not None
                self._channel.send(message)
                answer = self._channel.receive(timeout)
                break
            except LinkLost:
                self.close()
                if attempt == self.retries:
                    raise
        if "refused" in answer:
            raise Refused(f"the specimen refused: {answer['refused']}")
        return answer

    def _back(self, welcome: dict[str, Any]) -> None:
        """Connected again: it must be the same specimen under the table that was confirmed."""
        what = None
        if str(welcome["session"]) != self.session:
            what = "lost its memory: its session is another one"
        elif welcome["table"] != self.table_text:
            what = "came back with another table of limits and actions than the one that was confirmed"
        if what is not None:
            self.close()
            raise Refused(f"the specimen {what}")

    def apply(self, command: Command) -> Reading:
        answer = self._ask(command_message(command), command.duration + self.patience)
        reading = reading_of(answer)
        if reading is not None:
            self.last_sequence = max(self.last_sequence, int(command.sequence))
        if "tripped" in answer:
            raise Tripped(Event.of(answer["tripped"]), reading)
        if reading is None:
            raise Refused(f"the specimen answered command {command.sequence} without a reading")
        return reading

    def read(self) -> Reading:
        reading = reading_of(self._ask({"do": "read"}, self.patience))
        if reading is None:
            raise Refused("the specimen has no reading")
        return reading

    def answer(self, sequence: int) -> Reading | None:
        return reading_of(self._ask({"do": "answer", "sequence": int(sequence)}, self.patience))

    def alive(self) -> None:
        self._ask({"do": "alive"}, self.patience)

    def stop(self, reason: str) -> None:
        self._ask({"do": "stop", "reason": reason}, self.patience)

    # The ladder of the specimen's side

    @property
    def state(self) -> str:
        """State of the specimen's guard: ready, held, asking, unloading, unloaded or stopped."""
        answer = self._ask({"do": "state"}, self.patience)
        self.last_sequence = int(answer["last"])
        return str(answer["state"])

    def unload(self, event: Event | None = None) -> None:
        """Make the specimen's guard unload by itself; `state` tells when it has finished."""
        reason = "the solver's operator" if event is None else f"{event.trigger}: {event.text}"
        self._ask({"do": "unload", "reason": reason}, self.patience)

    def release(self, confirmed: bool = True) -> None:
        """Have the person at the rig asked whether the hold may end; `state` is 'asking' until there is an answer."""
        if confirmed:
            self._ask({"do": "release"}, self.patience)

    def close(self) -> None:
        if self._channel is not None:
            with contextlib.suppress(LinkLost, Refused):
                self._channel.send({"do": "bye"})
            self._channel.close()
            self._channel = None

    def describe(self) -> dict[str, Any]:
        return {"specimen": "Remote", "about": self.about, "table": digest(self.table_text)}
