"""What passes between the spaces and the equipment: wishes in, grants out, and what is known of each relay.

What lives here: the types `Ask`, `Situation`, `RelayState`, `Granted`, `Bar`. What must not: any rule;
those are in `interlock` (one relay by itself), `equipment` (relays that depend on one another) and `water`
(the day's litres).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority, Command, Event, Facts
from gillhouse.core.reasons import Reason


@dataclass(frozen=True, slots=True)
class Ask:
    """A standing wish for one relay. At every input there is one for each relay a space may move."""

    relay: str
    on: bool
    run_ms: int | None
    """For ON: a pulse of this length, which once granted runs to its end; None: hold while asked."""
    authority: Authority
    reason: Reason
    causes: tuple[int, ...] = ()
    facts: Facts = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Bar:
    """Why a relay may not be on now."""

    reason: Reason
    facts: Facts = field(default_factory=dict)
    authority: Authority = Authority.INTERLOCK
    until: int | None = None
    """Monotonic time at which it may be over; None: another input will tell."""


@dataclass(frozen=True, slots=True)
class Return:
    """A mains circuit that came back: its loads start one after the other."""

    back_ms: int
    apart_ms: int
    relays: tuple[str, ...]
    """All on this circuit."""


@dataclass(frozen=True, slots=True)
class Situation:
    """What the interlocks look at. None, or a key that is not there, means 'not known'.

    Not known counts as harmless (the crop needs its mist more than we need certainty), and a command given
    all the same says so in its facts, as `door_unknown`, `tank_unknown` or `people_unknown`.
    """

    door_open: Mapping[str, bool | None] = field(default_factory=dict)
    """By space."""
    people: Mapping[str, bool | None] = field(default_factory=dict)
    """By space: somebody is inside."""
    tank_wet: Mapping[str, bool | None] = field(default_factory=dict)
    """By tank sensor: has water."""
    freezing: Mapping[str, Facts] = field(default_factory=dict)
    """By mist or pump relay whose water is near freezing: what was measured."""
    need: Mapping[str, float] = field(default_factory=dict)
    """By space: how badly it wants the shared supply or fan; only the order matters."""
    harmed_by_shared_air: Mapping[str, bool] = field(default_factory=dict)
    """By space: would pass a hard limit if the shared fan served another space now."""
    barred: Mapping[str, Bar] = field(default_factory=dict)
    """By relay: off, whatever anybody asks, by what its space or the whole farm is in (see `modes`)."""
    returning: Mapping[str, Return] = field(default_factory=dict)
    """By relay whose mains came back lately."""
    causes: tuple[int, ...] = ()
    """Journal number of the input being handled; goes in front of the causes of every OFF."""


@dataclass(frozen=True, slots=True)
class Spell:
    """A run that is over."""

    end: Instant
    ms: int


@dataclass(slots=True)
class RelayState:
    """What is known of one relay. Times are monotonic milliseconds unless the name says otherwise."""

    on: bool = False
    """As we commanded (or, advise only, would have)."""
    since_mono_ms: int = 0
    """When it went on or off."""
    lease_from: int = 0
    """When the lease in force was given."""
    lease_end: int | None = None
    run_end: int | None = None
    """End of the pulse that is running; None while held or off."""
    limit_end: int | None = None
    """When the longest run or the day's water ends this run."""
    limit_reason: Reason | None = None
    rest_until: int | None = None
    """After a longest run."""
    starts: list[Instant] = field(default_factory=list)
    """Of the last hour, oldest first; kept only where starts are limited."""
    litres: dict[str, float] = field(default_factory=dict)
    """Water by local day (ISO date), the last few days touched."""
    water_from: int | None = None
    """Water is settled up to here; None while nothing flows."""
    water_day: str = ""
    more_water: dict[str, float] = field(default_factory=dict)
    """Litres a person added to a local day's cap; once a day."""
    spells: list[Spell] = field(default_factory=list)
    """Runs of the last hour, kept only where running time is limited by the hour."""
    on_days: dict[str, int] = field(default_factory=dict)
    """Milliseconds on by local day, kept only where running time is limited by the day."""
    authority: Authority = Authority.DEFAULT
    """Of what turned it on or off."""
    last_reason: Reason = Reason.STARTING
    last_facts: dict[str, float | int | str | bool | None] = field(default_factory=dict)
    causes: tuple[int, ...] = ()
    told: bool = False
    """The board has been told the present state; False makes the next grant say it again."""
    told_once: bool = False
    """It has been told anything since the daemon began."""
    refused: Reason | None = None
    """Why the standing wish is not met; None if it is."""
    refused_facts: dict[str, float | int | str | bool | None] = field(default_factory=dict)
    wake: int | None = None
    """When this relay must be looked at again, without any input."""
    echoed: bool | None = None
    """Last state the board reported; None if it never did since the last command."""
    available: bool = True
    told_at: int = 0
    """When it was last told to change; the echo is awaited from here."""
    locked: bool = False
    """Stayed on though told off; no further ON until a person resets it."""
    by_proof: bool = False
    """It was a proof input that said so, not the board."""


@dataclass(frozen=True, slots=True)
class Granted:
    """What follows from one round of asks, in the order it must be done."""

    commands: tuple[Command, ...] = ()
    events: tuple[Event, ...] = ()
