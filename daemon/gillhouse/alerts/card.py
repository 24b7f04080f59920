"""The helper card: one printed page for whoever stands there at night and did not build any of it.

Here: what stands on it, as words and as one self-contained page (`card.html.j2` beside this file): what a
call means and what to do first, how to answer, whom to ring, where things are shut off, and what never to do.
All of it comes from the config and the tables of the house; what the config does not say is left as a line to
fill in by hand. Not here: choosing a file (`commands.card`).
The safety lines are usual cautions (docs/how-to/wiring-and-safety.md). None of them, and nothing this program
says, means that anything is safe to work on.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import jinja2

from gillhouse.alerts.occurs import where
from gillhouse.config import Config
from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.edges import HELPER_RUN_MS, Neighbour, PersonRole, PersonSettings, ShutOff
from gillhouse.core.role_words import ROLE_WORD
from gillhouse.core.schedule import local
from gillhouse.core.settings import Role

BLANK = "____________________"
BLANK_SHUT_OFFS = ("water", "electricity", "gas or heating")
"""What every farm has to shut off, where the config says nothing."""

URGENCY = {
    1: "At once, day and night",
    2: "Soon: the crop is hurt if it waits",
    3: "In the daytime",
}

SAFETY = (
    "Fire, smoke, a shock, somebody on the ground: get out, ring {emergency} first. Nothing here is worth a"
    " person.",
    "CO2 call: nobody goes in, not even quickly. Open it from outside and stay out until the call is over."
    " Never alone. CO2 cannot be smelled or seen.",
    "Before a hand goes near a fan, pump, nozzle or lamp: its own switch off AND its plug out. The box may"
    ' start it at any moment; telling the box "off" is no safe off.',
    "Sockets, wires, the switch box: only a licensed electrician, by the local code. Water on anything"
    " electric: main switch off if you reach it with dry feet, else out.",
    "Floors are wet and dark. Shoes that grip, a lamp, no ladder alone.",
    "Picking, sweeping and clearing out: mask on, spores harm lungs. Chemicals: gloves, glasses, read the"
    " label.",
)
UV = "The UV lamp harms eyes and skin. Never open its door while it is lit."
NOT_SAFE = "This card does not say that anything is safe to work on. If in doubt, ring and wait."


@dataclass(frozen=True, slots=True)
class CallLine:
    """One kind of call."""

    title: str
    """As it stands in the message."""
    where: str
    means: str
    first: str
    """What to do first."""
    within: str


@dataclass(frozen=True, slots=True)
class PersonLine:
    name: str
    number: str
    role: str
    asleep: str


@dataclass(frozen=True, slots=True)
class Card:
    """All that is printed."""

    farm: str
    made: str
    version: str
    """The first letters of the config's digest: a card with others is out of date."""
    emergency: str
    address: str
    safety: tuple[str, ...]
    answers: tuple[str, ...]
    people: tuple[PersonLine, ...]
    ring: tuple[Neighbour, ...]
    shut_offs: tuple[ShutOff, ...]
    calls: tuple[tuple[str, tuple[CallLine, ...]], ...]
    """How urgent, and the calls that are."""
    by_hand: tuple[str, ...]
    relays: tuple[tuple[str, str], ...]
    """Relay and what it is."""
    notes: tuple[str, ...]


def card(config: Config, now_ms: int) -> Card:
    """The card of a farm.

    Args:
        now_ms: wall time it is made at.
    """
    said, farm = config.card, config.farm
    emergency = said.emergency or BLANK
    lamp = any(relay.role is Role.UV for relay in farm.relays.values())
    blank = tuple(ShutOff(what, BLANK) for what in BLANK_SHUT_OFFS)
    return Card(
        farm=farm.name,
        made=f"{local(now_ms, farm.zone):%d %b %Y}",
        version=config.digest[:8],
        emergency=emergency,
        address=said.address or BLANK,
        safety=(*(line.format(emergency=emergency) for line in SAFETY), *((UV,) if lamp else ()), NOT_SAFE),
        answers=tuple(_answers(config)),
        people=tuple(_person(one) for one in config.alerts.people),
        ring=said.ring or (Neighbour("electrician", BLANK), Neighbour("water", BLANK)),
        shut_offs=said.shut_offs or blank,
        calls=tuple((words, tuple(_calls(config, level))) for level, words in URGENCY.items()),
        by_hand=_by_hand(config),
        relays=tuple(_relays(config)),
        notes=said.notes,
    )


def _calls(config: Config, priority: int) -> Iterator[CallLine]:
    """Those that can come, the shortest time first."""
    kinds = [(kind, one) for kind, one in KINDS.items() if one.priority == priority]
    for kind, one in sorted(kinds, key=lambda each: each[1].time_allowed_min):
        places = where(kind, config.farm)
        if places is not None:
            yield CallLine(
                one.title, ", ".join(places), one.consequence, one.action, _within(one.time_allowed_min)
            )


def _within(minutes: int) -> str:
    if minutes < 60:
        return f"{minutes} min"
    hours = minutes // 60
    return f"{hours} h" if hours < 24 else f"{hours // 24} day{'' if hours < 48 else 's'}"


def _answers(config: Config) -> Iterator[str]:
    """How a call is answered from where one is."""
    ways = [one for one in config.alerts.channels if one.kind == "sms" or one.answers is not None]
    if ways:
        yield 'Answer the message with one word and its digits, such as "ok 4711", from your own telephone:'
        yield "ok: I have seen it and go. quiet: no more messages about it for an hour."
        yield "next: I cannot come, call the next person. The digits of a message work once."
        yield "Word comes back; if none does, ring somebody."
    yield "At the box: gillhouse ack lists what waits; gillhouse ack NAME says that you have seen it."
    yield "Seen is not mended: the call comes again if it lasts."


def _person(person: PersonSettings) -> PersonLine:
    asleep = ""
    if person.quiet_from_min is not None and person.quiet_to_min is not None:
        asleep = f"asleep {_clock(person.quiet_from_min)} to {_clock(person.quiet_to_min)}"
    return PersonLine(person.name, person.phone or BLANK, str(person.role), asleep)


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02}:{minutes % 60:02}"


def _by_hand(config: Config) -> tuple[str, ...]:
    helper = next((one.id for one in config.alerts.people if one.role is PersonRole.HELPER), "NAME")
    most = HELPER_RUN_MS // 60_000
    return (
        f'gillhouse --who {helper} override RELAY on --for {most}m --why "..."    ({most} min at most)',
        f"gillhouse --who {helper} override RELAY end    (gives it back)",
        f'gillhouse --who {helper} note SPACE "what you saw or did"',
        "gillhouse now    (how everything stands, and why)",
    )


def _relays(config: Config) -> Iterator[tuple[str, str]]:
    spaces = config.farm.spaces
    for relay in config.farm.relays.values():
        place = spaces[relay.space].name if relay.space in spaces else "shared"
        only = ", only advised: switch it by hand at its own switch" if relay.advise_only else ""
        yield relay.id, f"{ROLE_WORD[relay.role]}, {place}{only}"


def page(shown: Card) -> str:
    """The card as one HTML page: no script, nothing from outside, for A4 or letter paper."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("card.html.j2").render(card=shown, blank=BLANK)


def text(shown: Card) -> str:
    """The card as plain words, for a terminal or a printer without a browser."""
    return "\n".join(_lines(shown)) + "\n"


def _lines(shown: Card) -> Iterator[str]:
    yield f"HELPER CARD: {shown.farm}    made {shown.made} ({shown.version}); print it again after a change"
    yield f"Rescue services: {shown.emergency}    We are at: {shown.address}"
    yield from ("", "FIRST OF ALL", *(f"  ! {line}" for line in shown.safety))
    yield from ("", "HOW TO ANSWER A CALL", *(f"  {line}" for line in shown.answers))
    yield from ("", "WHOM TO RING, in this order")
    yield from (f"  {one.name}  {one.number}  {one.role}  {one.asleep}".rstrip() for one in shown.people)
    yield from (f"  {one.who}  {one.number}  {one.what_for}".rstrip() for one in shown.ring)
    yield from ("", "WHERE IT IS SHUT OFF")
    yield from (f"  {one.what}: {one.where}{f' ({one.how})' if one.how else ''}" for one in shown.shut_offs)
    for words, calls in shown.calls:
        if calls:
            yield from ("", f"CALLS: {words.upper()}")
            for one in calls:
                place = f" ({one.where})" if one.where else ""
                yield f"  {one.title}{place}, within {one.within}: {one.first} Else: {one.means}."
    yield from ("", "BY HAND, AT THE BOX", *(f"  {line}" for line in shown.by_hand))
    yield from (f"    {relay}: {what}" for relay, what in shown.relays)
    if shown.notes:
        yield from ("", "AND", *(f"  {line}" for line in shown.notes))
