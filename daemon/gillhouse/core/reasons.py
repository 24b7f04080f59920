"""The closed list of reasons, and the grower's words for each. One place, so no word is made up elsewhere.

`WORDS[reason]` is a format string over the decision's facts (see `Command.facts`); a test fills each.
"""

from enum import StrEnum


class Reason(StrEnum):
    """Why a relay moved, stayed, or was not let. (The core's modules extend this list as they need.)"""

    # wanted
    AIR_DRY = "air-dry"
    HOLD_HUMID = "hold-humid"
    CO2_HIGH = "co2-high"
    CO2_PEOPLE = "co2-people"
    TOO_HUMID = "too-humid"
    FRESH_AIR_FLOOR = "fresh-air-floor"
    TOO_COLD = "too-cold"
    TOO_WARM = "too-warm"
    LIGHT_HOURS = "light-hours"
    UNEVEN = "uneven"
    PROGRAMME = "programme"
    FALLBACK_PROGRAMME = "fallback-programme"
    OVERRIDE = "override"
    MEASURING = "measuring"
    AIR_INSIDE = "air-inside"
    AIR_CLEANING = "air-cleaning"
    AIRING = "airing"
    NEEDED_BY = "needed-by"
    UPSTREAM_OF = "upstream-of"
    ALL_WELL = "all-well"
    ALARM_CALLS = "alarm-calls"
    SELF_TEST = "self-test"
    VALVE_OPEN = "valve-open"
    DAMPER_OPEN = "damper-open"
    # ended
    RUN_ENDED = "run-ended"
    IN_BAND = "in-band"
    LET_GO = "let-go"
    """The board's own timer ran out because no renewal came in time."""
    NOT_ASKED = "not-asked"
    TOLD_AGAIN = "told-again"
    """The board came back, or does not do as it was told."""
    OUT_OF_LIGHT = "out-of-light"
    RELEASED = "released"
    EXPIRED = "expired"
    DROPPED = "dropped"
    # no change
    SATURATED = "saturated"
    WAITING_GAP = "waiting-gap"
    CAPS_WET = "caps-wet"
    OUTSIDE_WORSE = "outside-worse"
    AT_CAPACITY = "at-capacity"
    SENSORS_STEER = "sensors-steer"
    NOTHING_PLANNED = "nothing-planned"
    NO_RELAY = "no-relay"
    ASK_HOSE = "ask-hose"
    # held back
    LEAST_ON = "least-on"
    LEAST_OFF = "least-off"
    LONGEST_RUN = "longest-run"
    STARTS_CAP = "starts-cap"
    WATER_CAP = "water-cap"
    DOOR_OPEN = "door-open"
    TANK_EMPTY = "tank-empty"
    PEOPLE_INSIDE = "people-inside"
    PEOPLE_UNPROVED = "people-unproved"
    DOOR_UNPROVED = "door-unproved"
    CLEANING = "cleaning"
    HARVEST = "harvest"
    OUT_OF_USE = "out-of-use"
    NEAR_FREEZING = "near-freezing"
    NEVER_WITH = "never-with"
    RELAY_STUCK = "relay-stuck"
    EMERGENCY_STOP = "emergency-stop"
    LEAK = "leak"
    MAINS_GONE = "mains-gone"
    STAGGERED = "staggered"
    UPSTREAM_OFF = "upstream-off"
    WATER_UNASKED = "water-unasked"
    NOT_PROVED = "not-proved"
    NOT_HEARD = "not-heard"
    HOUR_USED = "hour-used"
    DAY_USED = "day-used"
    TEST_OVERDUE = "test-overdue"
    TEST_AHEAD = "test-ahead"
    NO_LIMITER = "no-limiter"
    RESET_DONE = "reset-done"
    STILL_SO = "still-so"
    OTHER_SPACE_FIRST = "other-space-first"
    NO_GOOD_READING = "no-good-reading"
    NO_LINK = "no-link"
    UNKNOWN_SUBJECT = "unknown-subject"
    NAME_AND_REASON = "name-and-reason"
    NOT_BY_HAND = "not-by-hand"
    SENSOR_SILENT = "sensor-silent"
    SENSOR_BACK = "sensor-back"
    SENSOR_DOUBTED = "sensor-doubted"
    SENSOR_AWAY = "sensor-away"
    SENSOR_WET = "sensor-wet"
    SENSORS_DISAGREE = "sensors-disagree"
    SENSOR_SLOW = "sensor-slow"
    NEVER_AIRED = "never-aired"
    CALIBRATION_DUE = "calibration-due"
    FAN_COUNTS = "fan-counts"
    DRIFTED = "drifted"
    CALIBRATION_OVER = "calibration-over"
    FOUND_OVER = "found-over"
    """What was found of a sensor no longer holds."""
    CALIBRATED = "calibrated"
    CALIBRATION_UNDONE = "calibration-undone"
    NOTHING_TO_UNDO = "nothing-to-undo"
    BOARD_SILENT = "board-silent"
    BOARD_DIFFERS = "board-differs"
    # water
    FLUSHING = "flushing"
    WATER_STOOD = "water-stood"
    DESCALE_DUE = "descale-due"
    CLEANED = "cleaned"
    FLUSHED = "flushed"
    DRAINED = "drained"
    MORE_WATER = "more-water"
    ALREADY_MORE = "already-more"
    HOSED = "hosed"
    HOSE_SOON = "hose-soon"
    CAPS_DRY = "caps-dry"
    SOAK_LEARNT = "soak-learnt"
    OWN_REACH = "own-reach"
    # what a space is in besides growing
    MODE_BEGUN = "mode-begun"
    MODE_OVER = "mode-over"
    PERSON_OUT = "person-out"
    HARVEST_STANDS = "harvest-stands"
    RECOVERED = "recovered"
    AIRED = "aired"
    AIRING_FAILED = "airing-failed"
    AIRING_UNPROVABLE = "airing-unprovable"
    AIRING_TOO_LONG = "airing-too-long"
    HAS_BATCH = "has-batch"
    NOTHING_ON = "nothing-on"
    # batches
    BATCH_ADDED = "batch-added"
    BATCH_MOVED = "batch-moved"
    BATCH_ENDED = "batch-ended"
    STAGE_BEGUN = "stage-begun"
    STAGE_PLANNED = "stage-planned"
    STAGE_DUE = "stage-due"
    STAGE_LATER = "stage-later"
    BANDS_MOVING = "bands-moving"
    BANDS_THERE = "bands-there"
    BLOCKS_WET = "blocks-wet"
    BLOCKS_DRY = "blocks-dry"
    BATCH_EXISTS = "batch-exists"
    STAGE_UNKNOWN = "stage-unknown"
    DATE_AHEAD = "date-ahead"
    NOTHING_PROPOSED = "nothing-proposed"
    NOT_BELIEVABLE = "not-believable"
    STARTING = "starting"
    STOPPING = "stopping"


WORDS: dict[Reason, str] = {
    Reason.AIR_DRY: "air too dry: {value:.1f} %, keep over {limit:g} %",
    Reason.HOLD_HUMID: "mist for what fresh air carries away: {value:.1f} %, kept near {aim:g} %",
    Reason.CO2_PEOPLE: "air unfit for people: CO2 {value:.0f} ppm, over {limit:.0f}; stay out",
    Reason.CO2_HIGH: "air stale: CO2 {value:.0f} ppm, keep under {limit:.0f} ppm",
    Reason.TOO_HUMID: "air too wet: {value:.1f} %, keep under {limit:g} %",
    Reason.FRESH_AIR_FLOOR: "least fresh air: {limit:g} air changes an hour",
    Reason.TOO_COLD: "too cold: {value:.1f} C, keep over {limit:g} C",
    Reason.TOO_WARM: "too warm: {value:.1f} C, keep under {limit:g} C",
    Reason.LIGHT_HOURS: "light hours",
    Reason.UNEVEN: "{quantity} uneven: {value:.1f} between two places, stirred from {limit:g} on",
    Reason.PROGRAMME: "timed programme {programme}",
    Reason.FALLBACK_PROGRAMME: "timed programme {programme}, because no sensor can be trusted",
    Reason.OVERRIDE: "{who} asked for it",
    Reason.MEASURING: "being measured for {who}: {phase}",
    Reason.AIR_INSIDE: "fresh air while somebody is inside",
    Reason.AIR_CLEANING: "fresh air while {space} is cleaned",
    Reason.AIRING: "airing {space} before somebody goes in",
    Reason.VALVE_OPEN: "mist valve {valve} open",
    Reason.DAMPER_OPEN: "fresh air for {other}",
    Reason.RUN_ENDED: "run over",
    Reason.IN_BAND: "back where it should be",
    Reason.LET_GO: "board let go by itself: not told again in time",
    Reason.TOLD_AGAIN: "said again: the board was away or did not follow",
    Reason.NOT_ASKED: "nothing asks for it",
    Reason.OUT_OF_LIGHT: "dark hours",
    Reason.RELEASED: "{who} gave it back",
    Reason.EXPIRED: "the time {who} asked for is over",
    Reason.DROPPED: "what {who} asked for by hand ended with the restart",
    Reason.NAME_AND_REASON: "say who asks for it, and why",
    Reason.NOT_BY_HAND: "nobody asked anything of {relay} by hand",
    Reason.SATURATED: "sensor reads 100 %: wet, no more mist",
    Reason.CAPS_WET: "caps still wet of the last mist, air damp enough at {value:.1f} %",
    Reason.WAITING_GAP: "waiting for the last mist to show",
    Reason.OUTSIDE_WORSE: "outside air would make it worse",
    Reason.AT_CAPACITY: "fan at its limit, CO2 {value:.0f} ppm",
    Reason.SENSORS_STEER: "timed programme not needed, sensors steer",
    Reason.NOTHING_PLANNED: "nothing planned for this hour",
    Reason.NO_RELAY: "there is no relay for it",
    Reason.ASK_HOSE: "air too dry: {value:.1f} %, keep over {limit:g} %: hose soon, the windy side first",
    Reason.LEAST_ON: "must stay on a little",
    Reason.LEAST_OFF: "must stay off a little",
    Reason.LONGEST_RUN: "longest run reached",
    Reason.STARTS_CAP: "too many starts this hour",
    Reason.WATER_CAP: "day's water used up",
    Reason.DOOR_OPEN: "door open",
    Reason.TANK_EMPTY: "tank empty",
    Reason.PEOPLE_INSIDE: "somebody is inside",
    Reason.PEOPLE_UNPROVED: "not proved that nobody is inside",
    Reason.DOOR_UNPROVED: "door not proved shut",
    Reason.CLEANING: "being cleaned",
    Reason.HARVEST: "being picked",
    Reason.OUT_OF_USE: "out of use",
    Reason.NEAR_FREEZING: "near freezing, {value:.1f} C: no mist at {limit:g} C or under",
    Reason.NEVER_WITH: "may not run with {other}",
    Reason.RELAY_STUCK: "stayed on though told off: check it, then reset it",
    Reason.EMERGENCY_STOP: "emergency stop {sensor}: let go of it, then reset it",
    Reason.LEAK: "{sensor} is wet: find the leak, dry it, then reset it",
    Reason.MAINS_GONE: "its mains are gone ({sensor})",
    Reason.STAGGERED: "mains are back: one load after the other",
    Reason.UPSTREAM_OFF: "kept off because {other} stayed on though told off: check that, then reset it",
    Reason.WATER_UNASKED: "{sensor} saw water run with every valve told off: find out why, then reset it",
    Reason.NOT_PROVED: "{other} is not seen to run",
    Reason.NOT_HEARD: "just begun: {sensor} has not reported yet",
    Reason.HOUR_USED: "on for as long as it may be in an hour",
    Reason.DAY_USED: "on for as long as it may be in a day",
    Reason.TEST_OVERDUE: "test the {what}: last done {tested}, {days} days ago",
    Reason.TEST_AHEAD: "the {what} is said to be tested on {tested}, still to come: correct the date",
    Reason.NO_LIMITER: "nothing but the box ends a run of {relay}: fit a run-time limiter and state it",
    Reason.RESET_DONE: "{who} looked at {subject} and let it run again",
    Reason.STILL_SO: "{subject} is not over yet: it can be reset when it is",
    Reason.NEEDED_BY: "runs with {other}",
    Reason.UPSTREAM_OF: "{other} is on",
    Reason.ALL_WELL: "all is well",
    Reason.ALARM_CALLS: "an alarm waits for somebody: {alarm}",
    Reason.SELF_TEST: "weekly test: dropped for {seconds:g} s",
    Reason.OTHER_SPACE_FIRST: "{other} needs it more",
    Reason.NO_GOOD_READING: "no sensor can be trusted",
    Reason.NO_LINK: "no link to the relay boards",
    Reason.UNKNOWN_SUBJECT: "there is no such thing as {subject} here",
    Reason.SENSOR_SILENT: "sensor silent for {silent_s:.0f} s",
    Reason.SENSOR_BACK: "sensor reports again",
    Reason.SENSOR_DOUBTED: "reading not trusted: {mark}",
    Reason.SENSOR_AWAY: "{sensor} is out of its place: {who} checks or cleans it",
    Reason.SENSOR_WET: "{sensor} reads 100 % for {hours:.0f} h without mist: wet or dirty, clean and dry it",
    Reason.SENSORS_DISAGREE: (
        "{sensor} and {other} differ by {points:.0f} % of humidity, place and warmth allowed for:"
        " check {check}"
    ),
    Reason.SENSOR_SLOW: "{sensor} is {lag_min:.0f} min behind {other} at the same place: clean its cap",
    Reason.NEVER_AIRED: (
        "{sensor} sets itself by fresh air, and CO2 was never under {lowest:.0f} ppm in {days} days: it will"
        " read too low; air the space fully"
    ),
    Reason.CALIBRATION_DUE: "{sensor} is due to be checked in {days} days",
    Reason.FAN_COUNTS: "fan counted as {pct:g} % of its label: {words}",
    Reason.DRIFTED: "not as it was: {words}",
    Reason.CALIBRATION_OVER: "{sensor} was due to be checked {days} days ago; it is no longer trusted fully",
    Reason.FOUND_OVER: "{sensor} is well again ({was})",
    Reason.CALIBRATED: (
        "{who} checked {sensor} against {against}: corrected by {shift:+.1f} {unit} near {at:g}"
    ),
    Reason.CALIBRATION_UNDONE: "{who} took back the last check of {sensor}",
    Reason.NOTHING_TO_UNDO: "there is no check of {sensor} to take back",
    Reason.BOARD_SILENT: "relay board does not answer",
    Reason.BOARD_DIFFERS: "relay board says otherwise",
    Reason.FLUSHING: "fresh water through a line that stood for {hours:.0f} h, nobody inside",
    Reason.WATER_STOOD: "water has stood in {relay} for {hours:.0f} h: flush it with nobody inside",
    Reason.DESCALE_DUE: (
        "{sensor} has sprayed {litres:.0f} l of water this hard since it was cleaned: descale its nozzles"
    ),
    Reason.CLEANED: "{who} cleaned {relay}: {litres:.0f} l since the last time",
    Reason.FLUSHED: "{who} flushed {relay}",
    Reason.MORE_WATER: "{who} gave {relay} {litres:g} l more for today",
    Reason.ALREADY_MORE: "{relay} has no daily litres, or was given more today already; it is once a day",
    Reason.DRAINED: "{who} drained {relay}",
    Reason.HOSED: "{who} hosed {space}",
    Reason.HOSE_SOON: "hose within {within_min:.0f} min, {zone} first: caps dry in {dry_min:.0f} min{wind}",
    Reason.CAPS_DRY: "{who} saw dry caps in {space} {hours:.1f} h after water; expected {expected_h:.1f} h",
    Reason.SOAK_LEARNT: "{space} dries {pct:.0f} % as fast as reckoned ({words})",
    Reason.OWN_REACH: "{space} came to {low:.0f} to {high:.0f} % at this time of day lately",
    Reason.MODE_BEGUN: "{space}: {what}{lasts} ({who}{because})",
    Reason.MODE_OVER: "{space}: no longer {what}, {how}",
    Reason.PERSON_OUT: "{who} is out of {space}; still inside: {others}",
    Reason.HARVEST_STANDS: "{space} is picked without mist: {words}",
    Reason.RECOVERED: "{space}: air back where it should be {minutes} min after picking, {pulses} mist runs",
    Reason.AIRED: "{space} aired: {changes:g} air changes, {left_pct:g} % of what floated is left{co2}",
    Reason.AIRING_FAILED: (
        "{space} not aired: the fan was proved to run for {done:g} of {changes:g} air changes; look at it"
        " from outside"
    ),
    Reason.AIRING_UNPROVABLE: (
        "no board says whether a fan of {space} runs, so its airing cannot be proved: open it wide from"
        " outside"
    ),
    Reason.AIRING_TOO_LONG: "{changes:g} air changes would take {minutes} min here: its fan is small",
    Reason.HAS_BATCH: "{batch} is still in {space}: move it or end it first",
    Reason.NOTHING_ON: "nothing is on in {space} that could be ended",
    Reason.BATCH_ADDED: "{batch}: {kg:g} kg of {species}, {stage}, put into {space}",
    Reason.BATCH_MOVED: "{batch} moved from {from_space} to {space}",
    Reason.BATCH_ENDED: "{batch} ended",
    Reason.STAGE_BEGUN: "{batch}: {stage} begun, flush {flush}",
    Reason.STAGE_PLANNED: "{batch}: {who} wants {stage} from {on}",
    Reason.STAGE_DUE: "{batch}: day {day} of {stage}, usually long enough; look at the crop, is it {next}?",
    Reason.STAGE_LATER: "{batch}: {who} says not yet, asked again from {on}",
    Reason.BANDS_MOVING: "{space}: wished air on its way for {stage}, there in {hours:g} h",
    Reason.BANDS_THERE: "{space}: wished air is now that for {stage}",
    Reason.BLOCKS_WET: (
        "{batch}: blocks came in at {blocks_c:.0f} C, dew forms under {dew_c:.1f} C: wet for about"
        " {hours:.1f} h; hold the mist and let the air move"
    ),
    Reason.BLOCKS_DRY: "{batch}: blocks warm enough, no more dew on them",
    Reason.BATCH_EXISTS: "there is a batch {batch} already",
    Reason.STAGE_UNKNOWN: "{species} has no {stage}",
    Reason.DATE_AHEAD: "{on} is still to come; a move or an end is told when it has happened",
    Reason.NOTHING_PROPOSED: "nothing is proposed for {batch}",
    Reason.NOT_BELIEVABLE: "{what} cannot be {value}",
    Reason.STARTING: "starting up",
    Reason.STOPPING: "stopping",
}
