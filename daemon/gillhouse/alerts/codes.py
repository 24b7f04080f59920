"""One-time codes: what an answer to a call must carry, so that nobody else can give it.

A code is drawn at the moment its message is sent, on the thread that sends, and is on the disk before the
message leaves: after a restart it still counts. It belongs to one person and one occurrence of one alarm,
counts once and for `LASTS_MS`, and differs from every other code the person still has. Neither the store nor
the log ever holds one: a stored message has `MARK` in its place.
After `MOST_WRONG` wrong codes within an hour a person's answers are not looked at for the rest of it: four
digits cannot be tried out.
Not here: what an answer does (`desk`), and where answers come from (`sms`, `mailbox`).
"""

import hmac
import json
import logging
import os
import secrets
import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from pathlib import Path

from gillhouse.core.instant import Instant

log = logging.getLogger("gillhouse.alerts")

MARK = "{code}"
"""Stands in a message where its code goes when it is sent."""

DIGITS = 4
"""Short enough to type half asleep. Our choice; the limit on wrong ones makes up for it."""

LASTS_MS = 12 * 3_600_000
"""A night. What is older is expired. Our choice."""

REMEMBERED_MS = 2 * LASTS_MS
"""So long a code is told apart as used or expired; then it is unknown like any other."""

MOST_WRONG = 5
WRONG_WITHIN_MS = 3_600_000

MOST_KEPT = 500
"""Codes kept; the oldest go first."""

FILE = "answer-codes.json"


class Verdict(StrEnum):
    """What a code is found to be."""

    GOOD = "good"
    USED = "used"
    EXPIRED = "expired"
    WRONG = "wrong"
    TOO_MANY_WRONG = "too many wrong"


@dataclass(frozen=True, slots=True)
class Issued:
    """A code that went out."""

    code: str
    message: str
    """Id of the message it stands in: a second attempt carries the same code."""
    person: str
    alarm: str
    occurrence: int | None
    made_ms: int
    """Wall time."""
    spent_ms: int | None = None


class Codes:
    """The codes of one installation. Any thread may call it, except that of control: it writes a file."""

    def __init__(self, state_dir: Path, draw: Callable[[int], int] = secrets.randbelow) -> None:
        """Reads what an earlier run left.

        Args:
            draw: gives a number from 0 to just under its argument, which nobody can foretell.
        """
        self._path = state_dir / FILE
        self._draw = draw
        self._lock = threading.Lock()
        self._wrong: dict[str, list[int]] = {}
        """Person -> monotonic times of wrong codes."""
        self._made_mono_ms: dict[tuple[str, str], int] = {}
        """(message, person) -> monotonic time, of codes made in this run."""
        self._issued: list[Issued] = _read(self._path)

    def make(self, message: str, person: str, alarm: str, occurrence: int | None, now: Instant) -> str:
        """The code of a message; drawn and written down at the first call, the same at every later one.

        Raises:
            OSError: it could not be written down, so it must not go out.
        """
        with self._lock:
            for one in self._issued:
                if one.message == message and one.person == person and one.spent_ms is None:
                    return one.code
            taken = {one.code for one in self._issued if one.person == person}
            code = self._fresh(taken)
            kept = [one for one in self._issued if self._age_ms(one, now) < REMEMBERED_MS][-(MOST_KEPT - 1) :]
            issued = Issued(code, message, person, alarm, occurrence, now.wall_ms)
            self._write([*kept, issued])
            self._made_mono_ms = {
                one: at for one, at in self._made_mono_ms.items() if now.mono_ms - at < REMEMBERED_MS
            }
            self._made_mono_ms[message, person] = now.mono_ms
            return code

    def check(self, person: str, code: str, now: Instant) -> tuple[Verdict, Issued | None]:
        """What `code` is, coming from `person`. A good one is spent by `spend`, not by this."""
        with self._lock:
            wrong = [at for at in self._wrong.get(person, ()) if now.mono_ms - at < WRONG_WITHIN_MS]
            self._wrong[person] = wrong
            if len(wrong) >= MOST_WRONG:
                return Verdict.TOO_MANY_WRONG, None
            found = None
            for one in self._issued:  # all of them, each in the same time: how long it takes tells nothing
                same = hmac.compare_digest(one.code.encode(), code.encode())
                if same and one.person == person and self._age_ms(one, now) < REMEMBERED_MS:
                    found = one
            if found is None:
                wrong.append(now.mono_ms)
                return Verdict.WRONG, None
            if found.spent_ms is not None:
                return Verdict.USED, found
            return (Verdict.GOOD if self._age_ms(found, now) < LASTS_MS else Verdict.EXPIRED), found

    def spend(self, issued: Issued, now: Instant) -> bool:
        """Uses a code up, on the disk too, before anything is done for it.

        Returns: False where it was spent in the meantime.
        Raises:
            OSError: it could not be written down, so nothing may be done for it.
        """
        with self._lock:
            if issued not in self._issued:
                return False
            self._write(
                [replace(one, spent_ms=now.wall_ms) if one == issued else one for one in self._issued]
            )
            return True

    def _age_ms(self, issued: Issued, now: Instant) -> int:
        """How old a code is: by the monotonic clock, which no step moves, where it was made in this run.

        One of an earlier run that a wrong clock dated ahead counts as expired.
        """
        made_mono_ms = self._made_mono_ms.get((issued.message, issued.person))
        if made_mono_ms is not None:
            return now.mono_ms - made_mono_ms
        age_ms = now.wall_ms - issued.made_ms
        return age_ms if age_ms >= 0 else max(LASTS_MS, -age_ms)

    def _fresh(self, taken: set[str]) -> str:
        while True:
            code = f"{self._draw(10**DIGITS):0{DIGITS}}"
            if code not in taken:
                return code

    def _write(self, issued: list[Issued]) -> None:
        """Whole or not at all, and on the disk when this returns."""
        fresh = self._path.with_suffix(".new")
        fresh.unlink(missing_ok=True)
        with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            json.dump([asdict(one) for one in issued], file)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(self._path)
        self._issued = issued


def _read(path: Path) -> list[Issued]:
    """What was written; nothing where that cannot be read: then old calls can no longer be answered."""
    try:
        return [Issued(**one) for one in json.loads(path.read_text(encoding="utf-8"))]
    except FileNotFoundError:
        return []
    except (OSError, ValueError, TypeError) as error:
        log.error(
            "%s cannot be read (%s): calls sent before now cannot be answered", path, type(error).__name__
        )
        return []
