"""What a person does through the command line: to the running daemon, or straight into the store.

Recording works without a daemon (it takes the store's lock and goes through the same core); anything that
moves a relay or touches an alarm needs it running.
"""

import getpass
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gillhouse.audit.wording import reason_words
from gillhouse.clock import SystemClock
from gillhouse.commands.options import default_state
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.outputs import EventKind
from gillhouse.core.reasons import WORDS, Reason
from gillhouse.core.snapshot import to_plain
from gillhouse.errors import LocalError
from gillhouse.local import SOCKET_NAME, ask
from gillhouse.record import record_only
from gillhouse.store import JOURNAL


def send(state: Path, act: Act, subject: str, **more: Any) -> dict[str, Any]:
    """Hands an action to the running daemon.

    Raises:
        LocalError: nothing is running, or it was refused.
    """
    return ask(state, {"ask": "act", "act": act.value, "subject": subject, **more})


def refusals(outcome: dict[str, Any]) -> list[tuple[str, str]]:
    """What was refused, as the subject and the words for it."""
    refused = [event for event in outcome["events"] if event["kind"] == EventKind.REFUSED]
    return [(event["subject"], reason_words(Reason(event["reason"]), event["facts"])) for event in refused]


def record(state_dir: Path | None, act: Act, subject: str, text: str) -> tuple[str, ...]:
    """Records an action, by the running daemon or, where none runs, directly.

    Returns: why it could not be taken, in words; nothing where it was.
    """
    return recorded(state_dir, act, subject, text).refused


@dataclass(frozen=True, slots=True)
class Recorded:
    """What became of an action that was to be written down."""

    refused: tuple[str, ...]
    """Why it could not be taken, in words."""
    number: int | None
    """Its journal number; None where it was refused."""


def recorded(
    state_dir: Path | None, act: Act, subject: str, text: str, corrects: int | None = None
) -> Recorded:
    """As `record`, and tells the number it has in the journal.

    Args:
        corrects: number of the note this one puts right.
    """
    state = state_dir or default_state()
    if (state / SOCKET_NAME).exists():
        more = {} if corrects is None else {"corrects": corrects}
        events = send(state, act, subject, text=text, **more)["events"]
    else:
        if not state.exists():
            raise LocalError(f"no journal in {state}: give --state, or start `gillhouse run` once")
        action = OperatorAction(act, subject, getpass.getuser(), text, corrects=corrects)
        outcome = record_only(state / JOURNAL, action, SystemClock())
        events = to_plain(outcome.events)
    refused = [event for event in events if event["kind"] == EventKind.REFUSED and event["reason"]]
    causes = [event["causes"][0] for event in events if event["causes"]]
    return Recorded(
        tuple(WORDS[Reason(event["reason"])].format(**event["facts"]) for event in refused),
        None if refused else min(causes, default=None),
    )
