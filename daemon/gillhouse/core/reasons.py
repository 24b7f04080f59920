"""The closed list of reasons, and the grower's words for each. One place, so no word is made up elsewhere.

`WORDS[reason]` is a format string over the decision's facts (see `Command.facts`); a test fills each.
"""

from enum import StrEnum


class Reason(StrEnum):
    """Why a relay moved, stayed, or was not let. (The core's modules extend this list as they need.)"""

    # wanted
    AIR_DRY = "air-dry"
    CO2_HIGH = "co2-high"
    FRESH_AIR_FLOOR = "fresh-air-floor"
    TOO_COLD = "too-cold"
    TOO_WARM = "too-warm"
    LIGHT_HOURS = "light-hours"
    PROGRAMME = "programme"
    FALLBACK_PROGRAMME = "fallback-programme"
    OVERRIDE = "override"
    VALVE_OPEN = "valve-open"
    # ended
    RUN_ENDED = "run-ended"
    IN_BAND = "in-band"
    # no change
    SATURATED = "saturated"
    WAITING_GAP = "waiting-gap"
    OUTSIDE_WORSE = "outside-worse"
    # held back
    LEAST_ON = "least-on"
    LEAST_OFF = "least-off"
    LONGEST_RUN = "longest-run"
    STARTS_CAP = "starts-cap"
    WATER_CAP = "water-cap"
    DOOR_OPEN = "door-open"
    TANK_EMPTY = "tank-empty"
    PEOPLE_INSIDE = "people-inside"
    NEVER_WITH = "never-with"
    OTHER_SPACE_FIRST = "other-space-first"
    NO_GOOD_READING = "no-good-reading"
    STARTING = "starting"
    STOPPING = "stopping"


WORDS: dict[Reason, str] = {
    Reason.AIR_DRY: "air too dry: {value:.1f} %, keep over {limit:g} %",
    Reason.CO2_HIGH: "air stale: CO2 {value:.0f} ppm, keep under {limit:.0f} ppm",
    Reason.FRESH_AIR_FLOOR: "least fresh air: {limit:g} air changes an hour",
    Reason.TOO_COLD: "too cold: {value:.1f} C, keep over {limit:g} C",
    Reason.TOO_WARM: "too warm: {value:.1f} C, keep under {limit:g} C",
    Reason.LIGHT_HOURS: "light hours",
    Reason.PROGRAMME: "timed programme {programme}",
    Reason.FALLBACK_PROGRAMME: "timed programme {programme}, because no sensor can be trusted",
    Reason.OVERRIDE: "{who} asked for it",
    Reason.VALVE_OPEN: "mist valve {valve} open",
    Reason.RUN_ENDED: "run over",
    Reason.IN_BAND: "back where it should be",
    Reason.SATURATED: "sensor reads 100 %: wet, no more mist",
    Reason.WAITING_GAP: "waiting for the last mist to show",
    Reason.OUTSIDE_WORSE: "outside air would make it worse",
    Reason.LEAST_ON: "must stay on a little",
    Reason.LEAST_OFF: "must stay off a little",
    Reason.LONGEST_RUN: "longest run reached",
    Reason.STARTS_CAP: "too many starts this hour",
    Reason.WATER_CAP: "day's water used up",
    Reason.DOOR_OPEN: "door open",
    Reason.TANK_EMPTY: "tank empty",
    Reason.PEOPLE_INSIDE: "somebody is inside",
    Reason.NEVER_WITH: "may not run with {other}",
    Reason.OTHER_SPACE_FIRST: "{other} needs it more",
    Reason.NO_GOOD_READING: "no sensor can be trusted",
    Reason.STARTING: "starting up",
    Reason.STOPPING: "stopping",
}
