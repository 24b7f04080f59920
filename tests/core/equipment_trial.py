"""A small invented farm for equipment tests, and boards that follow nothing but the commands they are sent.

`Trial` plays the part of the daemon around the interlocks: it hands over asks and calls at every deadline.
`Board` keeps, for each relay, when it was really on: a board lets go by itself when its lease ends. The
checks of `test_interlock_properties` are made on those intervals, never on the state the code under test
keeps.
"""

from dataclasses import dataclass, field, replace
from zoneinfo import ZoneInfo

from gillhouse.core.asks import Ask, Granted, RelayState, Situation
from gillhouse.core.crops import Stage
from gillhouse.core.instant import Instant
from gillhouse.core.interlock import grant, next_deadline_ms
from gillhouse.core.outputs import Authority, Command, Event
from gillhouse.core.reasons import WORDS, Reason
from gillhouse.core.settings import (
    AlarmSettings,
    FarmSettings,
    IntakeSettings,
    RelaySettings,
    Role,
    SharedAirSettings,
    SpaceKind,
    SpaceSettings,
    SupplySettings,
)

ROME = ZoneInfo("Europe/Rome")
WALL_MS = 1_767_214_800_000
"""2025-12-31T21:00Z, 22:00 in Rome: two hours before a local midnight."""
FACTS = {"value": 71.0, "limit": 85.0, "programme": "p1", "who": "Ada"}
"""What a real ask brings; enough to word any of the reasons used here."""
UNBOUND = 10**12


def space(name: str, title: str) -> SpaceSettings:
    return SpaceSettings(
        name, title, SpaceKind.TENT, False, 10.0, "grey-oyster", Stage.FRUITING, 20.0, {}, 4.0,
        IntakeSettings(), None, {},
    )  # fmt: skip


def farm(
    relays: list[RelaySettings],
    supplies: list[SupplySettings] | None = None,
    airs: list[SharedAirSettings] | None = None,
) -> FarmSettings:
    return FarmSettings(
        "invented", ROME, {name: space(name, f"Tent {name.upper()}") for name in "abc"}, {},
        {relay.id: relay for relay in relays}, {}, AlarmSettings({}, {}),
        {supply.id: supply for supply in supplies or []}, {air.id: air for air in airs or []},
    )  # fmt: skip


def relay(name: str, role: Role = Role.FAN, where: str | None = "a", **more: object) -> RelaySettings:
    return RelaySettings(name, role, where, advise_only=False, **more)  # type: ignore[arg-type]


def on(
    name: str,
    run_s: float | None = None,
    authority: Authority = Authority.DEMAND,
    reason: Reason = Reason.AIR_DRY,
    causes: tuple[int, ...] = (7,),
) -> Ask:
    run_ms = None if run_s is None else int(run_s * 1000)
    return Ask(name, True, run_ms, authority, reason, causes, FACTS)


def off(name: str, authority: Authority = Authority.DEMAND, reason: Reason = Reason.IN_BAND) -> Ask:
    return Ask(name, False, None, authority, reason, (8,), FACTS)


@dataclass
class Run:
    """A stretch of time a relay was really on. Monotonic milliseconds; `end` moves while the lease does."""

    start: int
    end: int
    why_ended: Command | None = None
    authority: Authority = Authority.DEFAULT
    let_go: bool = False
    """The board's own timer ended it before any OFF came."""


@dataclass
class Board:
    """Every relay's real past, from commands alone."""

    runs: dict[str, list[Run]] = field(default_factory=dict)

    def obey(self, mono_ms: int, command: Command) -> None:
        past = self.runs.setdefault(command.relay, [])
        live = past[-1] if past and past[-1].end > mono_ms else None
        if not command.on:
            if past and past[-1].why_ended is None:
                past[-1].let_go = past[-1].end < mono_ms
                past[-1].end = min(past[-1].end, mono_ms)
                past[-1].why_ended = command
        elif live is not None:
            live.end = mono_ms + command.lease_ms
            live.authority = min(live.authority, command.authority)
        else:
            past.append(Run(mono_ms, mono_ms + command.lease_ms, None, command.authority))

    def is_on(self, name: str, mono_ms: int) -> bool:
        return any(run.start <= mono_ms < run.end for run in self.runs.get(name, []))


@dataclass
class Trial:
    """Asks that stand until changed, time that passes, and all that was commanded."""

    settings: FarmSettings
    states: dict[str, RelayState] = field(default_factory=dict)
    asks: dict[str, Ask] = field(default_factory=dict)
    situation: Situation = field(default_factory=Situation)
    mono_ms: int = 0
    board: Board = field(default_factory=Board)
    commands: list[tuple[int, Command]] = field(default_factory=list)
    events: list[tuple[int, Event]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.turn()  # as the daemon does with its first input: every board is told off

    def ask(self, *asks: Ask) -> Granted:
        """New standing asks, at once."""
        self.asks.update({ask.relay: ask for ask in asks})
        return self.turn()

    def turn(self) -> Granted:
        now = Instant(WALL_MS + self.mono_ms, self.mono_ms)
        granted = grant(now, self.settings, self.states, tuple(self.asks.values()), self.situation)
        for command in granted.commands:
            self.board.obey(self.mono_ms, command)
            self.commands.append((self.mono_ms, command))
            WORDS[command.reason].format(**command.facts)
        for event in granted.events:
            self.events.append((self.mono_ms, event))
            assert event.reason is not None
            WORDS[event.reason].format(**event.facts)
        return granted

    def wait(self, seconds: float) -> None:
        """Lets time pass, with a turn at every deadline."""
        until = self.mono_ms + int(seconds * 1000)
        while (due := next_deadline_ms(self.states, self.settings)) is not None and due <= until:
            assert due > self.mono_ms, "a deadline that does not lie ahead would never let time pass"
            self.mono_ms = due
            self.turn()
        self.mono_ms = until

    def look(self, **situation: object) -> Granted:
        """The situation changed."""
        self.situation = replace(self.situation, **situation)  # type: ignore[arg-type]
        return self.turn()

    def told(self, name: str) -> list[tuple[float, bool, str, bool]]:
        """(seconds, on, reason, renewal) of every command to one relay, the first OFF at start left out."""
        return [
            (mono_ms / 1000, command.on, command.reason.value, command.renewal)
            for mono_ms, command in self.commands
            if command.relay == name and command.reason is not Reason.STARTING
        ]

    def refusals(self, name: str) -> list[str]:
        return [event.reason.value for _, event in self.events if event.subject == name and event.reason]
