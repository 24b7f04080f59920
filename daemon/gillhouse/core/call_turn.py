"""One look at everything that has to do with calls: what is known at a moment, and the messages made of it.

Here: what `calling` and `digest` share. Not here: what either of them decides.
"""

from datetime import tzinfo

from gillhouse.core.alarm_states import BookState
from gillhouse.core.call_order import grave, is_night, night_ends_ms, night_key
from gillhouse.core.call_state import CallState
from gillhouse.core.edges import PersonSettings
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Call, CallKind
from gillhouse.core.settings import CallSettings


class Turn:
    """One look at everything: what is known, and the messages made so far."""

    __slots__ = ("book", "calls", "made", "now_ms", "seq", "settings", "zone")

    def __init__(
        self, settings: CallSettings, zone: tzinfo, calls: CallState, book: BookState, at: tuple[int, Instant]
    ) -> None:
        self.settings, self.zone, self.calls, self.book = settings, zone, calls, book
        self.seq, self.now_ms = at[0], at[1].wall_ms
        self.made: list[Call] = []

    def say(self, kind: CallKind, person: str, **more: object) -> None:
        """Makes a message and counts it against the person's hour."""
        call = Call(f"{self.seq}.{len(self.made)}", kind, person, **more)  # type: ignore[arg-type]
        self.made.append(call)
        self.calls.people[person].sent_ms.append(self.now_ms)

    def night(self, person: PersonSettings) -> bool:
        return self.calls.sure and is_night(self.settings, person, self.now_ms, self.zone)

    def asleep(self, person: PersonSettings, notice: AlarmNotice) -> bool:
        """This may not be told to the person now."""
        if not self.night(person):
            return False
        if grave(notice, night_ends_ms(self.settings, person, self.now_ms, self.zone)):
            return False
        if person.quiet_from_min is not None:
            return True
        key = night_key(self.settings, person, self.now_ms, self.zone)
        return self.calls.people[person.id].nights.get(key, 0) >= self.settings.night_calls
