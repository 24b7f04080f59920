# Over 400 lines: one closed table, a row a kind, and the figures beside it.
"""The closed list of alarm kinds: what each means, what happens if nothing is done, what to do, how soon.

What lives here: data only, `KINDS`, the default delays and deadbands, the limits for people. What must not:
the life of an alarm (see `alarm`). Words are short and plain, because a message has 160 characters.
Priorities: 1 wakes someone, 2 wakes someone where the crop would be hurt before morning, 3 can wait for the
day.
"""

from dataclasses import dataclass
from typing import Final

from gillhouse.core.modes import Mode
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import LimitTiming

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 3_600_000


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of alarm, as a person must know it."""

    priority: int
    title: str
    """What is wrong, for the head of a message."""
    cause: str
    """The most likely cause."""
    consequence: str
    """What happens if nobody acts."""
    action: str
    """What to do first."""
    time_allowed_min: int
    """How soon somebody should have acted. Common practice, no source."""
    latching: bool = False
    """Stays on the list until a person resets it, even when it is over."""
    parents: tuple[str, ...] = ()
    """Kinds that explain this one, farm-wide or in the same space: while one holds, this is not announced."""
    causes: tuple[str, ...] = ()
    """Kinds that may have led here: if one is active in the space, the alarm names it."""
    on_delay_ms: int = 0
    off_delay_ms: int = 0
    says_again_ms: int | None = None
    """Not seen by anybody, it is said again after this; None: by its priority."""
    as_new_ms: int = 0
    """Acknowledged and still there, it is as new after this at the earliest: nobody can mend it sooner."""
    people: bool = False
    """Protects people: cannot be shelved, made less urgent, or hidden but by a graver limit for people."""
    loses_crop: bool = False
    """Left alone for the time allowed, the crop is lost, or worse: only this rings at night at priority 2."""
    by_day: bool = False
    """Of priority 3, but no use in tomorrow's digest: told once by itself, in the daytime."""


_LIMIT_PARENTS: Final = ("broker-lost", "mains-off", "emergency-stop")
_MIST_FAULTS: Final = (
    "tank-empty",
    "drain-down",
    "relay-silent",
    "mist-without-effect",
    "load-dead",
    "fan-unasked",
    "door-open",
    "sensor-flat",
)
_WET_FAULTS: Final = (
    "relay-stuck", "load-stuck", "mist-unasked", "fan-without-effect", "relay-silent", "sensor-flat",
)  # fmt: skip
_AIR_FAULTS: Final = (
    "relay-stuck", "load-stuck", "load-dead", "fan-without-effect", "fan-unasked", "relay-silent",
    "sensor-flat",
)  # fmt: skip
_HEAT_FAULTS: Final = (
    "relay-stuck", "load-stuck", "load-dead", "fan-unasked", "door-open", "relay-silent", "sensor-flat",
)  # fmt: skip

KINDS: Final[dict[str, Kind]] = {
    "humidity-low": Kind(
        2,
        "DRY",
        "mist not reaching the crop",
        "pins stall, caps crack",
        "Check water, pump, nozzles.",
        120,
        parents=_LIMIT_PARENTS,
        causes=_MIST_FAULTS,
        loses_crop=True,
    ),
    "humidity-high": Kind(
        3,
        "WET",
        "too much mist or too little air",
        "caps stay wet, blotch",
        "Stop the mist, let air in.",
        480,
        parents=_LIMIT_PARENTS,
        causes=_WET_FAULTS,
    ),
    "temperature-low": Kind(
        2,
        "COLD",
        "heat lost or heater off",
        "growth stops",
        "Check heater, door and fan.",
        240,
        parents=_LIMIT_PARENTS,
        causes=_HEAT_FAULTS,
        loses_crop=True,
    ),
    "temperature-high": Kind(
        2,
        "HOT",
        "heat cannot get out",
        "pins die, spawn harmed",
        "Check fan and cooler, shade it.",
        120,
        parents=_LIMIT_PARENTS,
        causes=_HEAT_FAULTS,
        loses_crop=True,
    ),
    "co2-high": Kind(
        2,
        "STALE AIR",
        "too little fresh air",
        "long stems, small caps",
        "Check fan, filter, inlet.",
        240,
        parents=("broker-lost", "co2-people-5000", "co2-people-15000", "co2-people-30000"),
        causes=_AIR_FAULTS,
    ),
    "co2-low": Kind(
        3,
        "CO2 LOW",
        "too much fresh air",
        "short stems, wide caps",
        "Close the inlet, rest the fan.",
        480,
        parents=_LIMIT_PARENTS,
        causes=_AIR_FAULTS,
    ),
    # What a space's kind asks for (see `kind_limits`); delays are our choice.
    "block-hot": Kind(
        2,
        "BLOCK HOT",
        "blocks heat one another",
        "spawn dies, moulds wake",
        "Spread the blocks, cool, let air in.",
        120,
        parents=_LIMIT_PARENTS,
        causes=_HEAT_FAULTS,
        on_delay_ms=10 * MINUTE_MS,
        off_delay_ms=2 * MINUTE_MS,
        loses_crop=True,
    ),
    "store-warm": Kind(
        2,
        "STORE WARM",
        "cooler off or iced up",
        "picked mushrooms spoil",
        "Check door, cooler and ice.",
        120,
        parents=_LIMIT_PARENTS,
        causes=("store-open", "relay-silent", "sensor-flat"),
        on_delay_ms=30 * MINUTE_MS,
        off_delay_ms=2 * MINUTE_MS,
        loses_crop=True,
    ),
    "store-open": Kind(
        3,
        "STORE OPEN",
        "left open",
        "the cold is lost",
        "Shut the door.",
        30,
        on_delay_ms=5 * MINUTE_MS,
        by_day=True,
    ),
    # Limits for people, ppm: 5,000 the 8 h average of OSHA, ACGIH and HSE; 15,000 HSE's 15 min limit; 30,000
    # the short-term limit of NIOSH and ACGIH. As quoted in OSHA's chemical sampling information and in
    # articles on HSE's EH40.
    "co2-people-5000": Kind(
        2,
        "CO2 OVER 5000",
        "too little fresh air",
        "bad air to work in",
        "Air it before anyone goes in.",
        15,
        parents=("co2-people-15000", "co2-people-30000"),
        causes=_AIR_FAULTS,
        on_delay_ms=5 * MINUTE_MS,
        off_delay_ms=5 * MINUTE_MS,
        people=True,
    ),
    "co2-people-15000": Kind(
        1,
        "CO2 OVER 15000",
        "no fresh air",
        "harms people",
        "Get out, stay out, open up from outside.",
        5,
        parents=("co2-people-30000",),
        causes=_AIR_FAULTS,
        off_delay_ms=5 * MINUTE_MS,
        people=True,
    ),
    "co2-people-30000": Kind(
        1,
        "CO2 OVER 30000",
        "no fresh air",
        "can kill",
        "KEEP OUT. Get out now. Open up from outside.",
        1,
        causes=_AIR_FAULTS,
        off_delay_ms=5 * MINUTE_MS,
        people=True,
    ),
    # Averages for people who are inside (see `breathed`): the same limits, as they are meant.
    "co2-shift": Kind(
        2,
        "CO2 ALL DAY",
        "too little fresh air at work",
        "over what a shift may breathe",
        "Come out, air it, work elsewhere.",
        15,
        causes=_AIR_FAULTS,
        off_delay_ms=5 * MINUTE_MS,
        people=True,
    ),
    "co2-quarter": Kind(
        1,
        "CO2 15 MIN HIGH",
        "no fresh air",
        "harms people",
        "Get out, stay out, open up from outside.",
        5,
        parents=("co2-people-15000", "co2-people-30000"),
        causes=_AIR_FAULTS,
        off_delay_ms=5 * MINUTE_MS,
        people=True,
    ),
    "not-out": Kind(
        2,
        "NOT OUT YET?",
        "switch forgotten, or in trouble",
        "nobody knows",
        "Ring them or look, not alone.",
        15,
        people=True,
        loses_crop=True,
    ),
    "crop-drying": Kind(
        2,
        "PICKING TOO LONG",
        "door open, no mist",
        "caps crack",
        "Shut the door, say picking is over.",
        30,
        parents=_LIMIT_PARENTS,
        off_delay_ms=MINUTE_MS,
        loses_crop=True,
    ),
    "sensor-silent": Kind(
        2,
        "SENSOR SILENT",
        "battery, cable or radio",
        "runs by its timed programme",
        "Look at the sensor board.",
        240,
        parents=("broker-lost", "mains-off"),
        off_delay_ms=MINUTE_MS,
        loses_crop=True,
    ),
    "sensor-flat": Kind(
        3,
        "SENSOR STUCK",
        "sensor frozen or wet",
        "runs by its timed programme",
        "Dry, restart or swap the sensor.",
        720,
        parents=("broker-lost",),
        off_delay_ms=5 * MINUTE_MS,
    ),
    "broker-lost": Kind(
        1,
        "NO CONTACT",
        "message broker or network down",
        "all spaces unwatched",
        "Restart broker, check network.",
        60,
        parents=("mains-off",),  # the router goes with them, and somebody is called already
        on_delay_ms=2 * MINUTE_MS,
        off_delay_ms=2 * MINUTE_MS,
    ),
    "store-failing": Kind(
        2,
        "NOT SAVING",
        "card full or worn out",
        "the night's record is lost",
        "Free space or change the card.",
        240,
        on_delay_ms=5_000,
        off_delay_ms=MINUTE_MS,
    ),
    "too-many": Kind(
        3,
        "SENDS TOO MUCH",
        "board gone mad, or a stranger",
        "what is over the limit is left out",
        "Switch that board off and on.",
        4 * 60,
        off_delay_ms=MINUTE_MS,
        by_day=True,
    ),
    "journal-damaged": Kind(
        2,
        "JOURNAL DAMAGED",
        "card worn out, or power cut",
        "old nights set aside, batches unknown",
        "Put the last backup back.",
        24 * 60,
    ),
    "config-refused": Kind(
        3,
        "CONFIG REFUSED",
        "a mistake in the farm file",
        "the old config stays in force",
        "gillhouse check says where.",
        1440,
        by_day=True,
    ),
    "water-cap-near": Kind(
        3,
        "WATER NEARLY USED UP",
        "hot or dry day, or a leak",
        "no more mist today at the cap",
        "More: gillhouse more-water",
        120,
        by_day=True,
        off_delay_ms=0,
    ),
    "relay-silent": Kind(
        2,
        "RELAY NOT ANSWERING",
        "board off or out of reach",
        "its mist, fan or heat stays off",
        "Check the board's power.",
        120,
        parents=("broker-lost",),
        on_delay_ms=15_000,
    ),
    "relay-stuck": Kind(
        1,
        "RELAY STUCK ON",
        "contact welded or board hung",
        "flood, fire or dried crop",
        "Switch it off by hand.",
        15,
        latching=True,
    ),
    # What protects (see `guarding`).
    "load-stuck": Kind(
        1,
        "RUNS THOUGH OFF",
        "contact welded or valve stuck",
        "flood, fire or dried crop",
        "Shut it off by hand.",
        15,
        latching=True,
    ),
    "load-dead": Kind(
        2,
        "DOES NOT RUN",
        "fuse, belt, pump or valve",
        "its mist, fan or heat is missing",
        "Look at the load and its fuse.",
        120,
        parents=("mains-off", "emergency-stop", "tank-empty"),
        loses_crop=True,
    ),
    "flow-unasked": Kind(
        1,
        "WATER RUNS UNASKED",
        "valve stuck, pipe burst, hose in use",
        "flood, tank runs dry",
        "Shut the main tap.",
        15,
        latching=True,
        parents=("load-stuck",),
    ),
    "leak": Kind(
        1,
        "LEAK",
        "pipe, valve or tank leaks",
        "flood, shock near mains",
        "Shut the tap, keep off wet mains.",
        15,
        latching=True,
    ),
    "emergency-stop": Kind(
        1,
        "EMERGENCY STOP",
        "somebody pressed it",
        "everything stays off",
        "Look for the person first.",
        5,
        latching=True,
    ),
    "mains-off": Kind(
        1,
        "MAINS OFF",
        "fuse, trip or power cut",
        "no mist, no fan, no heat",
        "Look at the board, ask the supplier.",
        60,
        on_delay_ms=30_000,
        as_new_ms=4 * HOUR_MS,
        off_delay_ms=2 * MINUTE_MS,  # over a sensor's own, so that none is called for as it ends
    ),
    "tank-empty": Kind(
        2,
        "TANK EMPTY",
        "no water coming in",
        "no mist until filled",
        "Fill the tank, check the float.",
        120,
        on_delay_ms=10_000,
        off_delay_ms=MINUTE_MS,
    ),
    # Water lines and open spaces; delays are our choice.
    "drain-down": Kind(
        2,
        "DRAIN DOWN",
        "frost at the water line",
        "pipes and nozzles burst",
        "Shut the water, drain the line.",
        60,
        off_delay_ms=10 * MINUTE_MS,
        loses_crop=True,
    ),
    "water-stood": Kind(
        3,
        "WATER STOOD",
        "line not used for days",
        "germs may grow in it",
        "Flush it with nobody inside.",
        1440,
        parents=("drain-down",),
    ),
    "hose": Kind(
        3,
        "HOSE",
        "dry air or wind",
        "caps crack, pins die",
        "Hose, windy edge first.",
        60,
        parents=("broker-lost",),
        on_delay_ms=2 * MINUTE_MS,
        off_delay_ms=0,
        by_day=True,
    ),
    "door-open": Kind(
        3,
        "DOOR OPEN",
        "left open",
        "space dries, mist is held back",
        "Shut the door.",
        60,
        on_delay_ms=5 * MINUTE_MS,
        by_day=True,
    ),
    "mist-without-effect": Kind(
        2,
        "MIST DOES NOTHING",
        "blocked nozzle or no pressure",
        "space will dry",
        "Clean filter and nozzles.",
        120,
        parents=("broker-lost", "tank-empty", "drain-down", "relay-silent", "door-open"),
        off_delay_ms=30 * MINUTE_MS,
    ),
    "mist-unasked": Kind(
        2,
        "MIST RUNS UNASKED",
        "valve or relay stuck, hose in use",
        "crop soaks, water runs away",
        "Shut the water by hand.",
        30,
        parents=("broker-lost", "relay-stuck", "door-open"),
        off_delay_ms=10 * MINUTE_MS,
        loses_crop=True,
    ),
    "fan-without-effect": Kind(
        2,
        "FAN DOES NOTHING",
        "fan or filter blocked, belt off",
        "air goes stale",
        "Look at fan and filter.",
        120,
        parents=("broker-lost", "relay-silent", "door-open"),
        on_delay_ms=90_000,
        off_delay_ms=30 * MINUTE_MS,
    ),
    "fan-unasked": Kind(
        2,
        "FAN RUNS UNASKED",
        "relay stuck or door ajar",
        "space dries and cools",
        "Stop the fan, shut doors.",
        60,
        parents=("broker-lost", "relay-stuck", "door-open"),
        off_delay_ms=10 * MINUTE_MS,
    ),
    "at-capacity": Kind(
        3,
        "AT ITS LIMIT",
        "equipment too small for this air",
        "the air stays off its band",
        "See what helps: gillhouse size",
        1440,
        parents=("broker-lost", "door-open", "mist-without-effect", "fan-without-effect"),
        on_delay_ms=20 * MINUTE_MS,
        off_delay_ms=12 * HOUR_MS,
        says_again_ms=24 * HOUR_MS,
        by_day=True,
    ),
    "channel-dead": Kind(
        2,
        "ALERTS NOT GETTING OUT",
        "address, password or card",
        "calls may not reach you",
        "Try it: gillhouse try-alert",
        1440,
        off_delay_ms=0,
    ),
}

PEOPLE_LIMITS: Final[tuple[tuple[str, float], ...]] = (
    ("co2-people-5000", 5_000.0),
    ("co2-people-15000", 15_000.0),
    ("co2-people-30000", 30_000.0),
)
"""Kind and limit in ppm. Fixed here: no setting, crop or file changes them."""

TIMING: Final[dict[Quantity, LimitTiming]] = {
    # Our choice. Deadbands are at least twice a cheap sensor's short-term noise; delays follow ASHRAE
    # Guideline 36, where a zone is 2 K or 10 % off for 10 min before it alarms (as documented in the Modelica
    # Buildings library, G36 ThermalZones.Alarms and CoolingOnly.Alarms).
    Quantity.HUMIDITY: LimitTiming(3.0, 10 * MINUTE_MS, 5 * MINUTE_MS),
    Quantity.TEMPERATURE: LimitTiming(0.5, 10 * MINUTE_MS, 2 * MINUTE_MS),
    Quantity.CO2: LimitTiming(100.0, 10 * MINUTE_MS, 5 * MINUTE_MS),
}
"""Used where the farm's file gives none."""

CO2_DEADBAND_SHARE: Final = 0.05
"""Of the limit; the larger of this and the timing's deadband counts. Our choice."""

REPEAT_MS: Final[dict[int, int]] = {1: 5 * MINUTE_MS, 2: 20 * MINUTE_MS, 3: 4 * HOUR_MS}
"""By priority: unacknowledged, said again after this. Our choice."""

REALARM_MS: Final[dict[int, int]] = {1: HOUR_MS, 2: 4 * HOUR_MS, 3: 24 * HOUR_MS}
"""By priority: acknowledged and still there, as new after this. Our choice."""

LONGEST_SHELVE_MS: Final[dict[int, int]] = {1: HOUR_MS, 2: 12 * HOUR_MS, 3: 72 * HOUR_MS}
"""By priority: nobody can silence an alarm for longer. Our choice; that there is a maximum is OPC 10000-9,
5.8.2."""

LONGEST_OUT_MS: Final = 30 * 24 * HOUR_MS
"""What is being mended is expected back within this. Our choice."""

SUPPRESSED_IN: Final[dict[Mode, tuple[str, ...]]] = {
    # mode of a space: kinds that mean nothing while it lasts. Never one of
    # priority 1, never one that protects people: nothing would be left to warn. Our choice.
    Mode.PEOPLE_INSIDE: ("door-open", "humidity-low", "co2-low", "fan-unasked"),
    Mode.CLEANING: (
        "door-open", "humidity-low", "humidity-high", "temperature-low", "temperature-high", "co2-high",
        "co2-low", "mist-unasked", "fan-unasked", "mist-without-effect", "fan-without-effect", "sensor-flat",
        "at-capacity", "hose",
    ),
    Mode.HARVEST: (
        "door-open", "humidity-low", "co2-low", "temperature-low", "temperature-high", "fan-without-effect",
        "mist-without-effect", "fan-unasked", "at-capacity",
    ),
    Mode.AIRING: (
        "door-open", "humidity-low", "temperature-low", "temperature-high", "co2-low", "fan-unasked",
    ),
    Mode.MAINS_OFF: ("mist-without-effect", "fan-without-effect", "at-capacity"),
    Mode.EMPTY: (
        "door-open", "humidity-low", "humidity-high", "temperature-low", "temperature-high", "co2-high",
        "co2-low", "at-capacity", "hose", "block-hot", "mist-without-effect", "fan-without-effect",
    ),
}  # fmt: skip
"""In a harvest "crop-drying" stands for "humidity-low": it tells dry air from a crop that suffers."""


def deadband(quantity: Quantity, limit: float, timing: LimitTiming) -> float:
    """How far the value must come back past `limit` before the alarm ends, in the quantity's unit."""
    if quantity is Quantity.CO2:
        return max(timing.deadband, CO2_DEADBAND_SHARE * limit)
    return timing.deadband
