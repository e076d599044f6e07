"""`frame2d specimen` at a terminal and without one: what the person at the rig is asked, and how long silence may last."""

import os
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import frame2d
from frame2d.cli import main
from frame2d.hybrid import Limits, Model, Remote, Table, command
from frame2d.hybrid.specimen import Refused
from frame2d.materials import Elastic

LIMITS = Limits((-0.05, 0.05), 5e5, 0.1, 0.01, 0.002)


def made():
    """An invented specimen, as a laboratory's own maker returns it."""
    return Model(Elastic(1e7)), LIMITS, Table()


@pytest.fixture
def served(monkeypatch):
    """Options with which it would be served."""
    calls = []
    monkeypatch.setattr(command, "made_by", lambda where: made())
    monkeypatch.setattr(command, "serve", lambda specimen, limits, **options: calls.append(options))
    monkeypatch.delenv("FRAME2D_SECRET", raising=False)
    return calls


def test_the_person_at_the_rig_confirms_the_table(served, monkeypatch, capsys):
    """At a terminal nothing is served until the typed word; then the same person is asked to end a hold."""
    answers = ["no", "yes", "", "yes"]
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda question: answers.pop(0))
    with pytest.raises(Refused, match="not confirmed"):
        command.run("any:maker")
    assert served == []
    assert command.run("any:maker") == 0
    assert Table().text(LIMITS) in capsys.readouterr().out
    release = served[0]["release"]
    assert not release("May it go on?") and release("May it go on?")


def test_without_a_terminal_it_says_that_nobody_confirms(served, monkeypatch, capsys):
    """A service without a terminal is served, says so, and has nobody who ends a hold."""
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    assert command.run("any:maker") == 0
    assert "nobody here confirms" in capsys.readouterr().out
    assert served[0]["release"] is None


def test_the_silence_is_chosen_on_the_command_line(served, capsys):
    """`--silence` reaches the server, 30 s without it; none at all is refused."""
    for given, expected in ((["--silence", "120"], 120.0), ([], 30.0)):
        assert main(["specimen", *given]) == 0
        assert served.pop()["silence"] == expected
    assert main(["specimen", "--silence", "0"]) == 1
    assert "silence is 0" in capsys.readouterr().err and served == []


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no terminals to open")
def test_a_hold_is_ended_at_the_rigs_own_terminal(tmp_path):
    """In a real process on a real terminal: confirmed there, held by a lost solver, released there; Ctrl-C ends it."""
    inner, outer = os.openpty()
    ready = tmp_path / "address"
    root = str(Path(frame2d.__file__).resolve().parents[1])
    here = str(Path(__file__).parent)
    arguments = ["specimen", "--ready", str(ready), "--maker", "test_specimen_command:made", "--silence", "5"]
    process = subprocess.Popen(
        [sys.executable, "-m", "frame2d.cli", *arguments], stdin=outer, stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([root, here])},
    )  # fmt: skip
    os.close(outer)
    said = ""

    def until(words):
        nonlocal said
        end = time.monotonic() + 120.0
        while words not in said:
            assert time.monotonic() < end and process.poll() is None, said
            if select.select([process.stdout], [], [], 0.2)[0]:
                said += os.read(process.stdout.fileno(), 65536).decode()

    try:
        until("Type yes to confirm")
        assert not ready.exists()
        os.write(inner, b"yes\n")
        until("listens on")
        port = int(said.split("listens on 127.0.0.1:")[1].split(";")[0])
        first = Remote(port=port)
        assert first.silence == 5.0 and first.releasable and first.table_text == Table().text(LIMITS)
        first._channel.connection.close()
        time.sleep(0.3)
        os.write(inner, b"yes\n")
        second = Remote(port=port)
        until("May it?")
        assert second.state == "ready"
        second.close()
        process.send_signal(signal.SIGINT)
        process.wait(30.0)
    finally:
        if process.poll() is None:
            process.kill()
            process.wait(30.0)
        process.stdout.close()
        os.close(inner)
