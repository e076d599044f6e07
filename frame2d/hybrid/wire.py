"""The wire between solver and specimen: JSON lines over TCP, version 2.

Every message is one JSON object in UTF-8 on one line of at most 1 MiB. Numbers are SI (m, rad, N, N·m, s) in full
double precision; a number that is not finite travels as "nan", "inf" or "-inf".

1. Specimen → solver: ``{"frame2d": "specimen", "version": 2, "units": "m rad N N*m s", "nonce": HEX, "secret": BOOL}``
2. Solver → specimen: ``{"frame2d": "solver", "version": 2, "units": …, "nonce": HEX, "proof": HEX}``, where proof =
   HMAC-SHA-256(secret, "solver" version units nonce_specimen nonce_solver), absent without a secret.
3. Specimen → solver: ``{"welcome": true, "proof": HEX("specimen" …), "freedoms": n, "session": ID, "last": sequence,
   "about": …, "table": TEXT, "digest": …, "silence": seconds, "release": BOOL, "state": STATE}`` or ``{"refused":
   reason}``. The table is what the specimen's guard does, with its limits, and the digest that of the text; silence is
   how long the solver may say nothing; release tells whether somebody at the rig can be asked to end a hold.

With a secret each later line is ``{"m": message, "mac": HEX}`` with mac = HMAC(key, direction counter message) and
key = HMAC(secret, "session" nonces): a line that was changed, left out or repeated is refused.

| request | answer |
| --- | --- |
| ``{"do": "apply", "sequence": n, "u": […], "t": seconds}`` | ``{"u": […], "f": […]}`` or ``{"tripped": event, "u": …, "f": …}`` |
| ``{"do": "read"}`` | ``{"u": […], "f": […]}`` |
| ``{"do": "answer", "sequence": n}`` | the stored answer, or ``{"unknown": true}`` |
| ``{"do": "alive"}`` | ``{"ok": true}`` |
| ``{"do": "state"}`` | ``{"state": STATE, "last": sequence}`` |
| ``{"do": "unload", "reason": …}`` | the same, at once; the specimen's guard unloads by itself |
| ``{"do": "release"}`` | the same, at once; the person at the rig is asked whether the hold may end |
| ``{"do": "stop", "reason": …}`` | ``{"ok": true}``; also while it unloads |
| ``{"do": "bye"}`` | ``{"ok": true}`` |

Anything may be answered ``{"refused": reason}``. STATE is ready, held, asking (held, and the person at the rig is being
asked), unloading, unloaded or stopped. Commands are numbered without gaps, those of the specimen's own unloading
included; a command that was executed before, sent again unchanged, returns the stored answer and moves nothing.

Version 1 had neither state, unload and release nor the specimen's table in the welcome.
"""

import hmac
import ipaddress
import json
import math
import socket
from hashlib import sha256
from typing import Any

import numpy as np

from frame2d.errors import InputError
from frame2d.hybrid.specimen import Command, LinkLost, Reading, Refused

VERSION = 2
UNITS = "m rad N N*m s"
LONGEST = 1 << 20


def is_loopback(host: str) -> bool:
    """Whether `host` stays inside this machine."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def check_address(host: str, secret: str | None) -> None:
    """Refuse any address but loopback without a shared secret of 12 characters or more."""
    if secret is not None and len(secret) < 12:
        raise InputError(f"the shared secret has {len(secret)} characters; allowed: 12 or more")
    if secret is None and not is_loopback(host):
        raise InputError(
            f"address {host!r} is outside of this machine and no secret is given; allowed: loopback (127.0.0.1), or a "
            "shared secret on both sides"
        )


def digest(text: str) -> str:
    """Short digest of a table's text, as the journal keeps it."""
    return sha256(text.encode()).hexdigest()[:16]


def numbers(values: Any) -> list[Any]:
    """Floats as JSON can carry them."""
    return [value if math.isfinite(value) else repr(value) for value in map(float, values)]


def array(values: Any) -> np.ndarray:
    """The array of what `numbers` made; raises `Refused` for anything else."""
    try:
        return np.array([float(value) for value in values], dtype=np.float64)
    except (TypeError, ValueError):
        raise Refused(f"the wire carried {values!r} where numbers were due") from None


def command_message(command: Command) -> dict[str, Any]:
    """Request that executes `command`."""
    return {
        "do": "apply",
        "sequence": int(command.sequence),
        "u": numbers(command.displacement),
        "t": float(command.duration),
    }


def answer_message(reading: Reading) -> dict[str, Any]:
    """Answer that carries `reading`."""
    return {"u": numbers(reading.displacement), "f": numbers(reading.force)}


def reading_of(message: dict[str, Any]) -> Reading | None:
    """Reading of an answer, if it has one."""
    return Reading(array(message["u"]), array(message["f"])) if "u" in message and "f" in message else None


def proof(secret: str, who: str, version: Any, units: Any, nonces: tuple[str, str]) -> str:
    """HMAC that shows knowledge of the secret."""
    text = "\n".join([who, str(version), str(units), *nonces])
    return hmac.new(secret.encode(), text.encode(), sha256).hexdigest()


class Channel:
    """Lines over a connected socket, authenticated once `protect` was called."""

    def __init__(self, connection: socket.socket, mine: str) -> None:
        self.connection, self.mine = connection, mine
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._buffer = bytearray()
        self._key: bytes | None = None
        self._sent = 0
        self._received = 0

    def protect(self, secret: str, nonces: tuple[str, str]) -> None:
        """From now on every line carries its authentication."""
        self._key = hmac.new(secret.encode(), "\n".join(["session", *nonces]).encode(), sha256).digest()

    def _mac(self, direction: str, counter: int, text: str) -> str:
        assert self._key is not None
        return hmac.new(self._key, f"{direction} {counter} {text}".encode(), sha256).hexdigest()

    def send(self, message: dict[str, Any]) -> None:
        """Send one message."""
        text = json.dumps(message, allow_nan=False)
        if self._key is not None:
            self._sent += 1
            text = json.dumps({"m": text, "mac": self._mac(self.mine, self._sent, text)})
        try:
            self.connection.sendall(text.encode() + b"\n")
        except OSError as error:
            raise LinkLost(f"the connection broke: {error}") from None

    def receive(self, timeout: float | None) -> dict[str, Any]:
        """Next message; `LinkLost` when the connection ends or stays silent for `timeout` s."""
        self.connection.settimeout(timeout)
        while b"\n" not in self._buffer:
            if len(self._buffer) > LONGEST:
                raise Refused("a line of more than 1 MiB came over the wire")
            try:
                piece = self.connection.recv(65536)
            except TimeoutError:
                raise LinkLost(f"no answer within {timeout:g} s") from None
            except OSError as error:
                raise LinkLost(f"the connection broke: {error}") from None
            if not piece:
                raise LinkLost("the other side closed the connection")
            self._buffer += piece
        line, _, rest = bytes(self._buffer).partition(b"\n")
        self._buffer = bytearray(rest)
        message = _parsed(line)
        if self._key is not None:
            self._received += 1
            theirs = "specimen" if self.mine == "solver" else "solver"
            text, mac = str(message.get("m")), str(message.get("mac"))
            if not hmac.compare_digest(mac, self._mac(theirs, self._received, text)):
                raise Refused("a line was changed, left out or repeated on its way")
            message = _parsed(text.encode())
        return message

    def close(self) -> None:
        """Close the connection."""
        self.connection.close()


def _parsed(line: bytes) -> dict[str, Any]:
    try:
        message = json.loads(line)
    except (ValueError, RecursionError):
        raise Refused("a line that is not JSON came over the wire") from None
    if not isinstance(message, dict):
        raise Refused("a line that is not a JSON object came over the wire")
    return message
