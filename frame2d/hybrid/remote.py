"""Specimen across the network: the solver's end of the wire."""

import contextlib
import hmac
import secrets
import socket
from typing import Any

from frame2d.errors import positive, within
from frame2d.hybrid.guard import Tripped
from frame2d.hybrid.limits import Event
from frame2d.hybrid.specimen import Command, LinkLost, Reading, Refused, Specimen
from frame2d.hybrid.wire import UNITS, VERSION, Channel, check_address, numbers, proof, reading_of


class Remote(Specimen):
    """Connects to a `Server` at `host`:`port`.

    `patience`: seconds that an answer may take beyond the command's own duration. `retries`: how often a broken
    connection is opened again and the same command sent again (the specimen executes it at most once). Raises
    `Refused` for a wrong secret, version or unit, `LinkLost` when nobody answers.
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
        welcome = self._connect()
        super().__init__(int(welcome["freedoms"]))
        self.session, self.last_sequence = str(welcome["session"]), int(welcome["last"])
        self.about: dict[str, Any] = welcome.get("about", {})

    def _connect(self) -> dict[str, Any]:
        try:
            connection = socket.create_connection((self.host, self.port), timeout=self.patience)
        except OSError as error:
            raise LinkLost(f"no specimen at {self.host}:{self.port}: {error}") from None
        channel = Channel(connection, "solver")
        try:
            return self._greet(channel)
        except BaseException:
            channel.close()
            raise

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
        self._channel = channel
        return welcome

    def _ask(self, message: dict[str, Any], timeout: float) -> dict[str, Any]:
        for attempt in range(self.retries + 1):
            try:
                if self._channel is None:
                    welcome = self._connect()
                    if str(welcome["session"]) != self.session:
                        raise Refused("the specimen lost its memory: its session is another one")
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

    def apply(self, command: Command) -> Reading:
        message = {
            "do": "apply",
            "sequence": int(command.sequence),
            "u": numbers(command.displacement),
            "t": float(command.duration),
        }
        answer = self._ask(message, command.duration + self.patience)
        reading = reading_of(answer)
        if "tripped" in answer:
            raise Tripped(Event.of(answer["tripped"]), reading)
        if reading is None:
            raise Refused(f"the specimen answered command {command.sequence} without a reading")
        self.last_sequence = max(self.last_sequence, int(command.sequence))
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

    def close(self) -> None:
        if self._channel is not None:
            with contextlib.suppress(LinkLost, Refused):
                self._channel.send({"do": "bye"})
            self._channel.close()
            self._channel = None

    def describe(self) -> dict[str, Any]:
        return {"specimen": "Remote", "about": self.about}
