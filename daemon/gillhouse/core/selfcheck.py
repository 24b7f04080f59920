"""The daemon's check of itself before it drives anything: known answers from the code that protects.

Here: a handful of rounds of the real interlock over a made-up farm, and one value of moist air. Not here: the
config (`gillhouse check`), the disk (`store`). It finds a broken installation, a damaged file, a processor
that counts wrong; it proves no wiring. Whoever starts the daemon refuses to go on when it finds trouble.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC

from gillhouse.core.air import dew_point_c
from gillhouse.core.asks import Ask, Bar, RelayState, Situation
from gillhouse.core.instant import Instant
from gillhouse.core.interlock import grant
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import AlarmSettings, FarmSettings, RelaySettings, Role

MIST = RelaySettings(
    "mist", Role.MIST, "here", advise_only=False, longest_run_ms=60_000, only_door_closed=True,
    not_with_people=True, tank="tank", lease_ms=300_000, least_off_ms=30_000,
)  # fmt: skip
HEAT = RelaySettings("heat", Role.HEATER, "here", advise_only=False, never_with=("cool",))
COOL = RelaySettings("cool", Role.COOLER, "here", advise_only=False)
FARM = FarmSettings(
    "self-check", UTC, {}, {}, {relay.id: relay for relay in (MIST, HEAT, COOL)}, {}, AlarmSettings({}, {})
)
STOPS: dict[str, Situation] = {
    "people inside": Situation(people={"here": True}),
    "the door open": Situation(door_open={"here": True}),
    "the tank empty": Situation(tank_wet={"tank": False}),
    "the emergency stop": Situation(
        barred={"mist": Bar(Reason.EMERGENCY_STOP, authority=Authority.EMERGENCY)}
    ),
}
"""What must keep mist off, and end it, whoever asks."""


def trouble() -> tuple[str, ...]:
    """What does not give its known answer, in words; empty: all does."""
    return tuple(_found())


def _found() -> Iterator[str]:
    quiet = Situation()
    began = _round({}, 60_000, quiet, _on("mist"))
    if not _is(began, "mist", on=True):
        yield "mist that nothing forbids does not begin"
    for what, situation in STOPS.items():
        if _is(_round({}, 60_000, situation, _on("mist")), "mist", on=True):
            yield f"mist begins with {what}"
        states: dict[str, RelayState] = {}
        _round(states, 60_000, quiet, _on("mist"))
        if not _is(_round(states, 61_000, situation, _on("mist")), "mist", on=False):
            yield f"mist goes on with {what}"
    states = {}
    _round(states, 60_000, quiet, _on("mist"))
    if not _is(_round(states, 120_000, quiet, _on("mist")), "mist", on=False):
        yield "mist passes its longest run"
    both = _round({}, 60_000, quiet, _on("heat"), _on("cool"))
    if sum(_is(both, relay, on=True) for relay in ("heat", "cool")) != 1:
        yield "heater and cooler are not kept apart"
    if not all(0 < command.lease_ms <= MIST.lease_ms for command in began if command.on):
        yield "an ON has no end"
    # 20 C and 50 %: dew point 9.26 C. Source: WMO-No. 8 (2018), annex 4.B, worked by hand over water.
    if abs(dew_point_c(20.0, 50.0) - 9.26) > 0.05:
        yield "moist air is counted wrong"


def _on(relay: str) -> Ask:
    return Ask(relay, True, None, Authority.OVERRIDE, Reason.OVERRIDE, (1,))


def _round(
    states: dict[str, RelayState], mono_ms: int, situation: Situation, *asks: Ask
) -> tuple[Command, ...]:
    for relay in FARM.relays:
        states.setdefault(relay, RelayState())
    now = Instant(1_700_000_000_000 + mono_ms, mono_ms)
    return grant(now, FARM, states, asks, replace(situation, causes=(1,))).commands


def _is(commands: tuple[Command, ...], relay: str, on: bool) -> bool:
    return any(command.relay == relay and command.on is on for command in commands)
