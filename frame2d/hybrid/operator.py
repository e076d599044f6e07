"""The person in charge of a test, as the test sees them: told, asked, and obeyed."""

import sys
from collections.abc import Sequence
from typing import TextIO

from frame2d.errors import known
from frame2d.hybrid.limits import Event

#: What an operator may decide after a hold.
DECISIONS = ("continue", "unload", "stop")


class Operator:
    """Duties of an operator; derive to connect buttons or another desk."""

    name = "operator"

    def tell(self, text: str) -> None:
        """Show `text`."""

    def confirm(self, question: str) -> bool:
        """Answer a question that must be answered before anything moves."""
        raise NotImplementedError

    def decide(self, event: Event, possible: Sequence[str] = DECISIONS) -> str:
        """After a hold: one of `possible`, which are those of `DECISIONS` that can be carried out now."""
        raise NotImplementedError


class Unattended(Operator):
    """Nobody: for rehearsals on models only. Confirms if `yes`, and answers every hold with `after_hold`, else stop."""

    name = "unattended"

    def __init__(self, yes: bool = False, after_hold: str = "unload") -> None:
        self.yes = yes
        self.after_hold = known("answer to a hold", after_hold, DECISIONS)

    def confirm(self, question: str) -> bool:
        return self.yes

    def decide(self, event: Event, possible: Sequence[str] = DECISIONS) -> str:
        return self.after_hold if self.after_hold in possible else "stop"


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

    def decide(self, event: Event, possible: Sequence[str] = DECISIONS) -> str:
        self.tell(f"{event.action.name} on the {event.side}'s side: {event.trigger}: {event.text}")
        for _ in range(3):
            answer = self._ask(f"{' or '.join(possible)}? ")
            if answer in possible:
                return answer
        return "stop"
