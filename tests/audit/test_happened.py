"""What changed in a night, in words: worked by hand from a few events."""

from zoneinfo import ZoneInfo

from gillhouse.audit.happened import changes
from gillhouse.core.outputs import Event, EventKind
from gillhouse.core.reasons import Reason
from gillhouse.store.records import EventAt

MIN, H = 60_000, 3_600_000
BEGIN = 1_760_464_800_000
"""14 Oct 2025, 20:00 in Rome (18:00 UTC, by `date -u -d @1760464800`)."""
ROME = ZoneInfo("Europe/Rome")


def at(minute: float, kind: EventKind, reason: Reason, subject: str = "tent", **facts: object) -> EventAt:
    return EventAt(0, 0, BEGIN + round(minute * MIN), Event(kind, subject, "tent", reason, facts))


def mist(minute: float, reason: Reason) -> EventAt:
    return at(minute, EventKind.DECISION, reason, role="mist", value=92.0, limit=94.0)


def words(*events: EventAt) -> list[str]:
    return [one.words for one in changes(events, BEGIN, BEGIN + 12 * H, ROME)]


def test_a_stage_names_when_its_air_is_there() -> None:
    """20:30 and three hours and a half are midnight."""
    stage = {"batch": "lm-1", "from_stage": "fruiting", "stage": "rest"}
    told = words(
        at(30, EventKind.BATCH, Reason.STAGE_BEGUN, "lm-1", **stage),
        at(30, EventKind.BATCH, Reason.BANDS_MOVING, stage="rest", hours=3.5, space="tent"),
        at(240, EventKind.BATCH, Reason.BANDS_THERE, stage="rest", space="tent"),
    )
    assert told == ["lm-1 from fruiting to rest, air there by 00:00"]


def test_a_checked_sensor_tells_its_correction() -> None:
    facts = {"who": "helper 1", "sensor": "tent-rh", "against": "salt", "shift": 1.23, "unit": "%"}
    checked = at(40, EventKind.SENSOR, Reason.CALIBRATED, "tent-rh", **facts)
    assert words(checked) == ["tent-rh corrected by +1.2 %"]


def test_a_relay_run_by_hand_names_who_how_long_and_why() -> None:
    """600 s are 10 min."""
    facts = {"who": "helper 1", "on": True, "for_s": 600.0, "text": "looked dry"}
    hand = at(105, EventKind.DECISION, Reason.OVERRIDE, "tent-mist", **facts)
    assert words(hand) == ["helper 1 ran tent-mist by hand, 10 min at most: looked dry"]
    facts = {"who": "helper 1", "on": False, "for_s": 60.0, "text": ""}
    held = at(105, EventKind.DECISION, Reason.OVERRIDE, "tent-fan", **facts)
    assert words(held) == ["helper 1 held off tent-fan by hand, 60 s at most"]


def test_a_batch_that_is_entered_names_its_crop_as_it_is_said() -> None:
    facts = {"batch": "lm-1", "kg": 40.0, "species": "lions-mane", "stage": "fruiting"}
    told = words(at(5, EventKind.BATCH, Reason.BATCH_ADDED, "lm-1", **facts))
    assert told == ["lm-1, 40 kg of lions mane, fruiting, entered"]


def test_wet_caps_are_one_spell_over_short_breaks_and_end_with_the_last() -> None:
    """22:00-22:10, 22:20-22:50: one spell. 23:30 for half a minute is none. 07:00 is wet to the end."""
    told = changes(
        [
            mist(120, Reason.CAPS_WET), mist(130, Reason.TOO_HUMID), mist(140, Reason.CAPS_WET),
            mist(170, Reason.IN_BAND), mist(210, Reason.CAPS_WET), mist(210.5, Reason.IN_BAND),
            mist(660, Reason.CAPS_WET),
        ],
        BEGIN, BEGIN + 12 * H, ROME,
    )  # fmt: skip
    assert [(one.ts - BEGIN, one.to_ms and one.to_ms - BEGIN, one.words) for one in told] == [
        (120 * MIN, 170 * MIN, "caps wet until 22:50, mist held back"),
        (660 * MIN, 720 * MIN, "caps wet still, mist held back"),
    ]


def test_a_spell_begun_before_the_night_is_told_from_its_begin_and_an_older_one_not() -> None:
    told = changes(
        [
            mist(-90, Reason.CAPS_WET), mist(-60, Reason.IN_BAND), mist(-20, Reason.CAPS_WET),
            mist(15, Reason.IN_BAND),
        ],
        BEGIN, BEGIN + 12 * H, ROME,
    )  # fmt: skip
    assert [(one.ts, one.words) for one in told] == [(BEGIN, "caps wet until 20:15, mist held back")]


def test_other_stories_and_other_relays_are_no_wet_caps() -> None:
    assert words(mist(10, Reason.AIR_DRY), at(12, EventKind.DECISION, Reason.AT_CAPACITY, role="fan")) == []
