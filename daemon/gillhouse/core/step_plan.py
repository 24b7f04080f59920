"""What a measuring run goes through, why one is refused, and what a space's run works with.

Here: the closed lists of phases and of reasons to stop, with their words, and the plan made from the settings
alone. Not here: how a run moves from phase to phase (`step_test`), what is made of it (`step_fit`).
"""

from dataclasses import dataclass
from enum import StrEnum

from gillhouse.core.air import AIR_KG_PER_M3
from gillhouse.core.alarm_kinds import PEOPLE_LIMITS
from gillhouse.core.crops import Band
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import FarmSettings, Role, SpaceKind

PULSE_KG_PER_KG = 0.0008
"""What a pulse shall add to the air at the assumed share: some seven points of humidity at 16 C."""
ASSUMED_SHARE = 0.6


class Phase(StrEnum):
    IDLE = "idle"
    REST = "rest"
    AIR = "air"
    MIST = "mist"
    AGAIN = "again"
    DONE = "done"
    GIVEN_UP = "given-up"


FANNED = (Phase.AIR, Phase.MIST)
"""Phases with the fan on."""

PHASE_WORDS: dict[Phase, str] = {
    Phase.IDLE: "nothing is being measured",
    Phase.REST: "fan off, CO2 climbs",
    Phase.AIR: "fan on, until CO2 has settled",
    Phase.MIST: "fan on, mist in pulses far apart",
    Phase.AGAIN: "fan off again, CO2 climbs from low down",
    Phase.DONE: "done",
    Phase.GIVEN_UP: "given up",
}


class Stop(StrEnum):
    """Why a run is refused or given up. The list is closed."""

    OPEN = "open"
    NO_FAN = "no-fan"
    NO_CO2_SENSOR = "no-co2-sensor"
    ADVISE_ONLY = "advise-only"
    RUNNING = "running"
    PEOPLE = "people"
    DOOR = "door"
    SENSOR = "sensor"
    LINK = "link"
    CO2_LIMIT = "co2-limit"
    DRY = "dry"
    COLD = "cold"
    HOT = "hot"
    NO_CLIMB = "no-climb"
    NO_FALL = "no-fall"
    FAN_HELD = "fan-held"
    BY_HAND = "by-hand"
    RESTART = "restart"


STOP_WORDS: dict[Stop, str] = {
    Stop.OPEN: "an open space cannot be measured: the wind moves more air than any fan",
    Stop.NO_FAN: "it has no fresh-air fan of its own",
    Stop.NO_CO2_SENSOR: "no CO2 sensor of it reports",
    Stop.ADVISE_ONLY: "its fan is only advised: nothing is switched, so nothing can be measured",
    Stop.RUNNING: "it is being measured already",
    Stop.PEOPLE: "somebody is inside",
    Stop.DOOR: "the door is open",
    Stop.SENSOR: "a sensor fell silent",
    Stop.LINK: "the relay boards cannot be reached",
    Stop.CO2_LIMIT: "CO2 is too near its limit: air the space first",
    Stop.DRY: "too dry: the limit that calls somebody was reached",
    Stop.COLD: "too cold: the limit that calls somebody was reached",
    Stop.HOT: "too warm: the limit that calls somebody was reached",
    Stop.NO_CLIMB: "CO2 hardly climbed with the fan off: measure with a batch inside",
    Stop.NO_FALL: "CO2 hardly fell with the fan on: does the fan turn, is the filter clear?",
    Stop.FAN_HELD: "the fan did not do as asked: something else holds or runs it",
    Stop.BY_HAND: "ended by hand",
    Stop.RESTART: "this box was restarted meanwhile",
}


@dataclass(frozen=True, slots=True)
class RunPlan:
    """What a space's run works with, from the settings alone."""

    space: str
    fans: tuple[str, ...]
    mists: tuple[str, ...]
    """Empty: the mist part is left out."""
    pulse_ms: int
    limit_ppm: float
    """CO2 that calls somebody, or harms people; the climb stays under it."""
    humidity: Band | None
    temperature: Band | None


def plan_run(farm: FarmSettings, space_id: str) -> RunPlan | Stop:
    """The plan of a run, or why the space cannot be measured at all."""
    space = farm.spaces[space_id]
    own = [relay for relay in farm.relays.values() if relay.space == space_id]
    fans = tuple(relay.id for relay in own if relay.role is Role.FAN)
    measured = {sensor.quantity for sensor in farm.sensors.values() if sensor.space == space_id}
    if space.kind is SpaceKind.OPEN:
        return Stop.OPEN
    if not fans:
        return Stop.NO_FAN
    if Quantity.CO2 not in measured:
        return Stop.NO_CO2_SENSOR
    if any(farm.relays[fan].advise_only for fan in fans):
        return Stop.ADVISE_ONLY
    mists = [one for one in own if one.role is Role.MIST and not one.advise_only and one.litres_per_h]
    usable = bool(mists) and {Quantity.HUMIDITY, Quantity.TEMPERATURE} <= measured
    litres_per_ms = sum(relay.litres_per_h for relay in mists) / 3_600_000 or 1.0
    wanted = space.volume_m3 * AIR_KG_PER_M3 * PULSE_KG_PER_KG / ASSUMED_SHARE / litres_per_ms
    longest = min([relay.longest_run_ms or 120_000 for relay in mists], default=120_000)
    band = space.bands.get(Quantity.CO2)
    return RunPlan(
        space=space_id,
        fans=fans,
        mists=tuple(relay.id for relay in mists) if usable else (),
        pulse_ms=max(min(int(wanted), longest - 1_000), 1_000),
        limit_ppm=_limit_ppm(band),
        humidity=space.bands.get(Quantity.HUMIDITY),
        temperature=space.bands.get(Quantity.TEMPERATURE),
    )


def _limit_ppm(band: Band | None) -> float:
    limits = [PEOPLE_LIMITS[0][1]]
    if band is not None and band.alarm_high is not None:
        limits.append(band.alarm_high)
    return min(limits)
