"""A call as a message: subject and text, without a person's address and without a channel.

Here: which words go with which kind of call. Not here: the words themselves (`wording`, `digest_words`).
"""

from collections.abc import Callable

from gillhouse.alerts.channel import Message
from gillhouse.alerts.codes import MARK
from gillhouse.alerts.digest_words import digest_subject, digest_text, weekly_text
from gillhouse.alerts.wording import Beside, alarm_text, back_text, cleared_text, next_up, subject_line
from gillhouse.core.edges import AlertSettings
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Call, CallKind
from gillhouse.core.settings import FarmSettings


class Letters:
    """Knows the grower's names and the farm's clock."""

    def __init__(self, alerts: AlertSettings, farm: FarmSettings) -> None:
        self._zone = farm.zone
        self._spaces = {space.id: space.name for space in farm.spaces.values()}
        self._people = {one.id: one.name for one in alerts.people}
        self.stored = True
        """False: nothing can be written down, and messages say so."""
        self.digest_lines: list[Callable[[Instant], tuple[str, ...]]] = []
        """What other parts of the house add to the end of a digest."""

    def worded(self, now: Instant, call: Call, answers: bool) -> Message:
        """The message of a call.

        Args:
            answers: what comes back over its way is read, so it says how to reply.
        """
        if call.kind is CallKind.DIGEST:
            more = tuple(line for add in self.digest_lines for line in add(now))
            return _plain(now, digest_subject(call), digest_text(call, self._spaces, self._zone, more))
        if not call.notices:
            return _plain(now, "Watching again", back_text(call.facts, self._zone))
        first = call.notices[0]
        subject = subject_line(first, self._spaces)
        if call.kind is CallKind.CLEARED:
            text = cleared_text(call.notices, self._spaces, self._zone, now.wall_ms)
            return _plain(now, f"{subject} is over", text)
        said = Beside(
            call.notices[1:],
            MARK if answers else "",
            next_up(call.facts, self._people, self._zone),
            self.stored,
        )
        text = alarm_text(first, self._spaces, self._zone, now.wall_ms, said)
        return Message("", now.wall_ms, "", "", subject, text, call.priority, first.alarm, first.occurrence)

    def weekly(self, now: Instant, call: Call, channel: str) -> Message:
        """The weekly list as it goes over one channel."""
        return _plain(now, "Weekly list", weekly_text(call, channel))

    def alarm(self, now: Instant, notice: AlarmNotice) -> str:
        """An alarm for the log."""
        return alarm_text(notice, self._spaces, self._zone, now.wall_ms, Beside(stored=self.stored))


def _plain(now: Instant, subject: str, text: str) -> Message:
    return Message("", now.wall_ms, "", "", subject, text)
