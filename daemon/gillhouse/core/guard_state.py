"""What is remembered of what protects: proofs, trips, mains, water nobody asked for, the alarm relay.

State only, for the snapshot. What it means is in `proving`, `guarding` and `alarm_relay`. Times are
monotonic milliseconds unless a name says wall.
"""

from dataclasses import dataclass, field


@dataclass(slots=True)
class LoadProof:
    """Whether one relay's load does as its relay was told, by its proof inputs."""

    run_ms: int | None = None
    """Begin of the run that is looked at; None: it has been judged."""
    seen: bool = False
    """In that run it was seen to run."""
    missed: int = 0
    """Runs in a row in which it never was."""
    running: bool = False
    """Told on, and every proof of it says so now."""
    dead: bool = False
    """Told on and does not run, as last judged."""
    stuck: bool = False
    """Told off and runs, as last judged."""
    known: bool = False
    """Its proofs can be trusted now."""


@dataclass(slots=True)
class Trip:
    """One input that stops things until a person resets it: emergency stop, leak."""

    tripped: bool = False
    """It says so now, as last heard."""
    held: bool = False
    """It said so, and nobody has reset it since."""


@dataclass(slots=True)
class Circuit:
    """One sensed mains supply of loads."""

    gone: bool = False
    back_ms: int | None = None
    """It came back then, or the daemon began then: its loads start one after the other."""


@dataclass(slots=True)
class Unasked:
    """Water seen by one flow input while every valve behind it is told off."""

    since_ms: int | None = None
    flowing: bool = False
    """For longer than is allowed, as last judged."""
    held: bool = False
    """It was, and nobody has reset it since: what lies upstream stays off."""


@dataclass(slots=True)
class AlarmRelay:
    """One relay that is on while all is well."""

    tested_wall_ms: int | None = None
    """Of its last test; before the first: when it was first seen."""
    test_to_ms: int | None = None
    """It is being tested until then."""


@dataclass(slots=True)
class Guards:
    """All of them, by id."""

    proofs: dict[str, LoadProof] = field(default_factory=dict)
    """By relay."""
    trips: dict[str, Trip] = field(default_factory=dict)
    """By sensor."""
    circuits: dict[str, Circuit] = field(default_factory=dict)
    """By mains sensor."""
    unasked: dict[str, Unasked] = field(default_factory=dict)
    """By flow sensor."""
    alarm_relays: dict[str, AlarmRelay] = field(default_factory=dict)
    """By relay."""
    heard: bool = False
    """Since the start a sensor gave a good reading, or a programme was due."""
