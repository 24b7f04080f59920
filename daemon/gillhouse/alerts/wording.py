"""What an alarm reads like: one message of at most 160 plain characters.

The order is fixed: where, what, how bad and how long, cause, time left, what to do, how to answer. The words
come from `core.alarm_kinds.KINDS` and the notice's facts; nothing else is made up here. Where it gets too
long, parts are said shorter, the least needed first; none is left out and none changes its place.
Plain means: ASCII that stands in the basic alphabet of GSM 03.38 (3GPP TS 23.038, 6.2.1), so that a text
message stays one message. Letters with accents lose them; names that have no such letters give way to the id.
"""

import math
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import tzinfo

from gillhouse.core.alarm_kinds import KINDS, Kind
from gillhouse.core.outputs import AlarmNotice, Facts
from gillhouse.core.reasons import WORDS
from gillhouse.core.schedule import MINUTE_MS, local

LONGEST = 160
"""Characters of one text message: 140 octets of 7-bit letters. Source: 3GPP TS 23.038, 6.2.1; TS 23.040."""

NOT_STORED = "(not stored)"
"""Ends a message that went out while nothing could be written down."""

ANSWER = "Seen it: gillhouse ack"
"""With the alarm's id where there is room; without it the command lists what waits."""

_NOT_IN_GSM = frozenset("`[]{}\\^~|")
"""ASCII outside the basic alphabet: sent as two letters, or not at all. Source: 3GPP TS 23.038, 6.2.1."""

_EFFORT = {
    # kind: what should help against it
    "humidity-low": "Mist",
    "co2-high": "Fan",
    "temperature-low": "Heater",
    "temperature-high": "Cooler",
}

_WHY = {reason.value: plain_words for reason, plain_words in WORDS.items() if "{" not in plain_words}
"""What holds a relay back, where the words need no figures."""

_SHOWN: dict[str, tuple[float, str]] = {
    # quantity: what is shown counts in these steps, with this unit
    "humidity": (1.0, "%"),
    "temperature": (0.1, "C"),
    "co2": (1.0, "ppm"),
}


def plain(words: str) -> str:
    """`words` in one line of letters that every phone shows; whatever has no such letter is left out."""
    spaced = "".join(" " if unicodedata.category(one)[0] in "CZ" else one for one in words)
    folded = unicodedata.normalize("NFKD", spaced).encode("ascii", "ignore").decode("ascii")
    return " ".join("".join(one for one in folded if one not in _NOT_IN_GSM).split())


def marked(text: str, mark: str) -> str:
    """`text` with `mark` at its end, cut before it at a word where both together would be too long."""
    room = LONGEST - len(mark) - 1
    if len(text) > room:
        text = text[:room].rpartition(" ")[0] or text[:room]
    return f"{text} {mark}"


def late(text: str, made_ms: int, zone: tzinfo) -> str:
    """`text` marked with the local time it was made, for a message that could not be sent for a while."""
    return marked(text, f"(from {local(made_ms, zone):%H:%M})")


def subject_line(notice: AlarmNotice, names: Mapping[str, str]) -> str:
    """Where and what, for the head of a mail; and that it is over, where it is still called for."""
    over = " is over" if notice.facts.get("over") else ""
    return f"{_where(notice, names)[0]} {_what(notice, KINDS[notice.kind])[0]}{over}"


@dataclass(frozen=True, slots=True)
class Beside:
    """What a call says beside its alarm."""

    others: tuple[AlarmNotice, ...] = ()
    """Alarms that go in the same message."""
    code: str = ""
    """What an answer must carry; empty: this way takes none."""
    next_up: str = ""
    """Who is called next and when, such as `Bo 06:15`; empty: nobody."""
    stored: bool = True
    """False ends it with `NOT_STORED`."""


ALONE = Beside()


def alarm_text(
    notice: AlarmNotice, names: Mapping[str, str], zone: tzinfo, now_ms: int, beside: Beside = ALONE
) -> str:
    """The message for one alarm, or for several that go together.

    Args:
        names: id -> the grower's name, of spaces.
        now_ms: wall time it is said at; how long it has lasted, and whether time is up, follow from it.
    Returns: at most `LONGEST` characters.
    """
    kind = KINDS[notice.kind]
    tale = _past(notice, kind, zone) if notice.facts.get("over") else _present(notice, kind, zone, now_ms)
    parts = _Parts(
        {
            "where": _where(notice, names),
            "what": _what(notice, kind),
            **tale,
            "also": _also(beside.others, names),
            "answer": _answer(notice, beside.code),
            "next": (f"(next: {beside.next_up})", "") if beside.next_up else ("",),
        }
    )
    if beside.stored:
        return parts.within(LONGEST)
    return f"{parts.within(LONGEST - len(NOT_STORED) - 1)} {NOT_STORED}"


def _present(notice: AlarmNotice, kind: Kind, zone: tzinfo, now_ms: int) -> dict[str, tuple[str, ...]]:
    """How bad, why, how long there is, and what to do."""
    return {
        "how": (_how(notice, kind, now_ms),),
        "cause": _cause(notice, kind),
        "left": _left(notice, kind, zone, now_ms),
        "do": (kind.action,),
    }


def _past(notice: AlarmNotice, kind: Kind, zone: tzinfo) -> dict[str, tuple[str, ...]]:
    """Of what is over and nobody has seen: since when, how long it was, and what is left to do."""
    ended, begun = notice.facts.get("over_ms"), _begun_ms(notice)
    how = "over"
    if isinstance(ended, int):
        after = f" after {_span(ended - begun)}" if begun is not None and ended - begun >= 1_000 else ""
        how = f"over since {local(ended, zone):%H:%M}{after}"
    held = "Stays off until somebody looks and resets it."
    return {
        "how": (f"{how}.",),
        "cause": (_sentence(f"maybe {kind.cause}"), _sentence(kind.cause)),
        "left": (held, "Look, then reset.") if kind.latching else ("Nobody has seen it yet.", ""),
        "do": (kind.action if kind.latching else "See that all is well.",),
    }


def _answer(notice: AlarmNotice, code: str) -> tuple[str, ...]:
    if code:
        return (f"Reply ok {code}, quiet {code} or next {code}.", f"Reply ok {code}.")
    return (f"{ANSWER} {plain(notice.alarm)}", ANSWER, ANSWER.partition(": ")[2])


def _also(others: tuple[AlarmNotice, ...], names: Mapping[str, str]) -> tuple[str, ...]:
    """The other alarms of a message: named, or counted."""
    if not others:
        return ("",)
    more = f" +{len(others) - 3}" if len(others) > 3 else ""
    return (f"Also: {_told(others[:3], names)}{more}.", f"Also {len(others)} more.")


def _told(notices: tuple[AlarmNotice, ...], names: Mapping[str, str]) -> str:
    return ", ".join(subject_line(one, names) for one in notices)


def cleared_text(
    notices: tuple[AlarmNotice, ...], names: Mapping[str, str], zone: tzinfo, now_ms: int
) -> str:
    """The note that what somebody was called for is over."""
    more = f" and {len(notices) - 3} more" if len(notices) > 3 else ""
    head = f"Over at {local(now_ms, zone):%H:%M}: {_told(notices[:3], names)}{more}."
    return _cut(f"{head} Nobody has said that they saw it: {ANSWER.partition(': ')[2]}", LONGEST)


def back_text(facts: Facts, zone: tzinfo) -> str:
    """The note that somebody is watching again, and what was not seen."""
    why = "the box was not running" if facts.get("why") == "daemon" else "no contact to the boards"
    begun, ended = facts.get("from_ms"), facts.get("to_ms")
    span = "for a while"
    if isinstance(begun, int) and isinstance(ended, int) and begun > 0:
        span = f"from {local(begun, zone):%a %H:%M} to {local(ended, zone):%a %H:%M}"
    return f"Watching again. Not watched {span}: {why}. Relays were off, or ran as their boards do alone."


def next_up(facts: Facts, people: Mapping[str, str], zone: tzinfo) -> str:
    """Who is called next if nobody answers, and when."""
    at_ms = facts.get("next_ms")
    if not isinstance(at_ms, int):
        return ""
    who = "everyone" if facts.get("everyone") else plain(people.get(str(facts.get("next")), ""))
    return f"{_cut(who, 16)} {local(at_ms, zone):%H:%M}" if who else ""


SHORTEN = ("next", "also", "answer", "left", "cause", "where", "what", "answer", "where", "what", "cause")
"""Which part is said shorter, in this order, until the message fits."""


@dataclass(slots=True)
class _Parts:
    """The parts of a message in their order, each in forms from long to short."""

    forms: dict[str, tuple[str, ...]]

    def within(self, room: int) -> str:
        form = dict.fromkeys(self.forms, 0)
        text = self._said(form)
        for part in SHORTEN:
            if len(text) <= room:
                break
            form[part] = min(form[part] + 1, len(self.forms[part]) - 1)
            text = self._said(form)
        return text if len(text) <= room else text[:room].rpartition(" ")[0]

    def _said(self, form: dict[str, int]) -> str:
        return " ".join(forms[form[part]] for part, forms in self.forms.items() if forms[form[part]])


def _cut(words: str, room: int) -> str:
    """The first `room` letters, at a word's end where there is one."""
    if len(words) <= room:
        return words
    return (words[: room + 1].rpartition(" ")[0] or words[:room]).rstrip(" ,.-:")


def _where(notice: AlarmNotice, names: Mapping[str, str]) -> tuple[str, ...]:
    if notice.space is None:
        return ("FARM",)
    name = plain(names.get(notice.space, "")) or plain(notice.space) or "SPACE"
    return tuple(_cut(name.upper(), room) for room in (24, 16, 10))


def _what(notice: AlarmNotice, kind: Kind) -> tuple[str, ...]:
    """The title, and which sensor or relay where it is about one."""
    subject = notice.alarm.partition(":")[2]
    about = subject in (notice.facts.get("sensor"), notice.facts.get("relay")) and subject != notice.space
    shown = plain(subject) if about else ""
    if not shown:
        return (kind.title,)
    return tuple(f"{kind.title} {shown[:room]}" for room in (24, 16, 10))


def _how(notice: AlarmNotice, kind: Kind, now_ms: int) -> str:
    """The value and its limit where there is one, and for how long."""
    lasting = _lasting(notice, now_ms)
    since = f"for {_span(lasting)}" if lasting is not None else "now"
    value, limit = notice.facts.get("value"), notice.facts.get("limit")
    step, unit = _SHOWN.get(str(notice.facts.get("quantity", "co2" if kind.people else "")), (0.1, ""))
    if not isinstance(limit, int | float):
        return f"{since}."
    side = "over" if notice.facts.get("side") == "low" else "under"
    if not isinstance(value, int | float):
        return f"{since}, keep {side} {limit:g}."
    # Rounded away from the limit: 79.6 % against 80 must not read as 80.
    turn: Callable[[float], int] = math.floor if side == "over" else math.ceil
    shown = turn(round(value / step, 6)) * step
    return f"{shown:.{0 if step == 1.0 else 1}f}{unit} {since}, keep {side} {limit:g}."


def _begun_ms(notice: AlarmNotice) -> int | None:
    """When it began to be wrong, before any delay; else when the alarm started."""
    for name in ("from_ms", "since_ms"):
        value = notice.facts.get(name)
        if isinstance(value, int) and value > 0:
            return value
    return None


def _lasting(notice: AlarmNotice, now_ms: int) -> int | None:
    """How long it has lasted, ms; None where that is not known or under a second."""
    silent_s, begun = notice.facts.get("silent_s"), _begun_ms(notice)
    if isinstance(silent_s, int | float) and silent_s >= 1:
        return int(silent_s * 1_000)
    return now_ms - begun if begun is not None and now_ms - begun >= 1_000 else None


def _span(ms: int) -> str:
    """A length of time in its largest fitting unit, rounded down."""
    for unit, name in ((24 * 60 * MINUTE_MS, "d"), (60 * MINUTE_MS, "h"), (MINUTE_MS, "min")):
        if ms >= 2 * unit or (name == "min" and ms >= unit):
            return f"{ms // unit}{name}"
    return f"{ms // 1_000}s"


def _cause(notice: AlarmNotice, kind: Kind) -> tuple[str, ...]:
    """What is being done about it, and the alarm that explains it, else the likeliest cause."""
    effort = _doing(notice.kind, notice.facts)
    other = KINDS.get(str(notice.facts.get("because", "")).partition(":")[0])
    if other is not None:
        known = other.title.lower()
        return (_sentence(f"{effort}, {known}" if effort else known), _sentence(known))
    if notice.facts.get("blocked") and effort:
        return (_sentence(effort),)
    if effort:
        return (_sentence(f"{effort}, maybe {kind.cause}"), _sentence(effort))
    return (_sentence(f"maybe {kind.cause}"), _sentence(kind.cause))


def _doing(kind: str, facts: Facts) -> str:
    role = _EFFORT.get(kind)
    if role is None or "relay_on" not in facts:
        return ""
    blocked = facts.get("blocked")
    if blocked:
        why = _WHY.get(str(blocked))
        return f"{role} held back: {why}" if why else f"{role} held back"
    return f"{role} {'on' if facts['relay_on'] else 'off'}"


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


def _left(notice: AlarmNotice, kind: Kind, zone: tzinfo, now_ms: int) -> tuple[str, ...]:
    """By when somebody should act, and what happens else."""
    begun = _begun_ms(notice)
    foretold = notice.facts.get("by_ms")
    by_ms = (now_ms if begun is None else begun) + kind.time_allowed_min * MINUTE_MS
    by_ms = foretold if isinstance(foretold, int) and foretold > 0 else by_ms
    by = "Act now" if kind.time_allowed_min <= 5 or by_ms <= now_ms else f"Act by {local(by_ms, zone):%H:%M}"
    return (f"{by}: {kind.consequence}.", f"{by}.")
