"""The person in charge of a test, as the test sees them: told, asked, and obeyed."""

import sys
from typing import TextIO

from frame2d.errors import known
from frame2d.hybrid.limits import Event


class Operator:
    """Duties of an operator; derive to connect buttons or another desk."""

    name = "operator"

    def tell(self, text: str) -> None:
        """Show `text`."""

    def confirm(self, question: str) -> bool:
        """Answer a question that must be answered before anything moves."""
        raise NotImplementedError

    def decide(self, event: Event) -> str:
        """After a hold: 'continue', 'unload' or 'stop'."""
        raise NotImplementedError


class Unattended(Operator):
    """Nobody: for rehearsals on models only. Confirms if `yes`, and answers every hold with `after_hold`."""

    name = "unattended"

    def __init__(self, yes: bool = False, after_hold: str = "unload") -> None:
        self.yes = yes
        self.after_hold = known("answer to a hold", after_hold, ("continue", "unload", "stop"))

    def confirm(self, question: str) -> bool:
        return self.yes

    def decide(self, event: Event) -> str:
        return self.after_hold


class Console(Operator):
    """A person at the terminal."""

    def __init__(self, name: str, source: TextIO | None = None, sink: TextIO | None = None) -> None:
        self.name = name
        self.source, self.sink = source or sys.stdin, sink or sys.stdout

    def tell(self, text: str) -> None:
        self.sink.write(text + "\n")
        self.sink.flush()

    def _ask(self, text: str) -> str:
        self.sink.write(text)
        self.sink.flush()
        line = self.source.readline()
        return line.strip().lower()

    def confirm(self, question: str) -> bool:
        return self._ask(f"{question}\nType yes to confirm: ") == "yes"

    def decide(self, event: Event) -> str:
        self.tell(f"{event.action.name}: {event.trigger}: {event.text}")
        for _ in range(3):
            answer = self._ask("continue, unload or stop? ")
            if answer in ("continue", "unload", "stop"):
                return answer
        return "stop"
