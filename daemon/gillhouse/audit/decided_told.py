"""A decision in the grower's words, from the canonical line the store and a replay make of it.

Here: one row of words per kind of line. Not here: which lines differ (`replay`), the lines themselves
(`store.codec`). A line of a kind unknown here is shown as it is: nothing is left out.
"""

from collections.abc import Callable
from typing import Any

from gillhouse.audit import told
from gillhouse.audit.wording import DOUBT_WORD, alarm_title, capital, reason_words
from gillhouse.core.outputs import EventKind, Transition
from gillhouse.core.readings import Quality
from gillhouse.core.reasons import Reason
from gillhouse.core.role_words import ROLE_WORD
from gillhouse.core.settings import FarmSettings, Role
from gillhouse.store.codec import from_canonical

Fields = dict[str, Any]

HAPPENED: dict[str, str] = {
    Transition.ACT.value: "rings",
    Transition.RTN.value: "is over",
    Transition.ACK.value: "is answered",
    Transition.REALARM.value: "rings again",
    Transition.REPEAT.value: "is said again",
    Transition.SHELVE.value: "is put off",
    Transition.UNSHELVE.value: "counts again",
    Transition.SUPP.value: "is left to a greater one",
    Transition.UNSUPP.value: "counts again",
    Transition.RESET.value: "is reset",
    Transition.PASS.value: "is passed on to the next person",
    Transition.REFUSED.value: "takes no such answer",
}
"""What an alarm does, by transition."""

EVENT: dict[str, str] = {
    EventKind.REFUSED.value: "{what} held back: {why}",
    EventKind.DECISION.value: "{what}: {why}",
    EventKind.DUE.value: "programme {subject} {ran}: {why}",
    EventKind.SENSOR.value: "sensor {subject}: {why}",
}
"""By kind; the others are told by their key and subject."""


def decided(line: str, farm: FarmSettings) -> str:
    """Such as: Tent mist on for 8 s: air too dry: 81.4 %, keep over 87 %.

    Args:
        farm: whose names are used; an id it does not know stands as it is.
    """
    kind, _, text = line.partition(" ")
    tell = _KINDS.get(kind)
    return line if tell is None else capital(tell(from_canonical(text), farm))


def _command(one: Fields, farm: FarmSettings) -> str:
    moved = "off"
    if one["on"]:
        moved = f"{'stays on' if one['renewal'] else 'on'} for {told.lasted(one['lease_ms'])}"
    advice = ", on advice only" if one["advise"] else ""
    return f"{_relay(one['relay'], farm)} {moved}{advice}: {_why(one)}"


def _event(one: Fields, farm: FarmSettings) -> str:
    words = EVENT.get(one["kind"])
    if words is None:
        return f"{one['kind']}: {one['subject']}"
    ran = "runs" if one["facts"].get("ran") else "does not run"
    return words.format(what=_what(one, farm), why=_why(one), subject=one["subject"], ran=ran)


def _alarm(one: Fields, farm: FarmSettings) -> str:
    where = f" ({_space(one['space'], farm)})" if one["space"] else ""
    happened = HAPPENED[one["transition"]]
    return f"alarm {alarm_title(one['kind'])}{where} {happened}"


def _verdict(one: Fields, _farm: FarmSettings) -> str:
    if one["quality"] == Quality.GOOD:
        return "the reading is trusted"
    return f"the reading is not trusted ({DOUBT_WORD.get(one['mark'], one['mark'])})"


_KINDS: dict[str, Callable[[Fields, FarmSettings], str]] = {
    "Command": _command,
    "Event": _event,
    "AlarmNotice": _alarm,
    "Verdict": _verdict,
}


def _why(one: Fields) -> str:
    return "no reason given" if one["reason"] is None else reason_words(Reason(one["reason"]), one["facts"])


def _what(one: Fields, farm: FarmSettings) -> str:
    """What an event is about: a relay, or what a space asks of a role."""
    if one["subject"] in farm.relays:
        return _relay(one["subject"], farm)
    role = one["facts"].get("role")
    asked = f" {ROLE_WORD[Role(role)]}" if role in {known.value for known in Role} else ""
    return f"{_space(one['space'] or one['subject'], farm)}{asked}"


def _relay(relay: str, farm: FarmSettings) -> str:
    known = farm.relays.get(relay)
    if known is None:
        return relay
    place = "shared" if known.space is None else _space(known.space, farm)
    return f"{place} {ROLE_WORD[known.role]} ({relay})"


def _space(space: str, farm: FarmSettings) -> str:
    known = farm.spaces.get(space)
    return space if known is None else known.name
