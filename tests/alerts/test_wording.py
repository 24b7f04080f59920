"""Alarm texts: at most 160 plain characters, the parts in their order, for every kind and whatever the names.

The limit and the alphabet are those of GSM text messages: 3GPP TS 23.038, 6.2.1 (the basic alphabet, written
out below from the standard's table) and TS 23.040 (140 octets, which hold 160 letters of 7 bits).
"""

import re
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.alerts.wording import (
    NOT_STORED,
    Beside,
    alarm_text,
    back_text,
    cleared_text,
    late,
    marked,
    next_up,
    plain,
    subject_line,
)
from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.outputs import AlarmNotice, Transition
from gillhouse.core.reasons import Reason

# TS 23.038 6.2.1, the ASCII part of the default alphabet, without line feed, carriage return and escape.
GSM_BASIC = frozenset(
    "@$_ !\"#%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
)
ROME = ZoneInfo("Europe/Rome")
NOW = 1_791_951_240_000
"""2026-10-14 04:14:00 UTC by `date -u -d @1791951240`; 06:14 in Rome (summer time, +02:00)."""
NAMES = {"tent": "Tent", "barn": "Scheune für Shiitake"}


def notice(kind: str, space: str | None = "tent", subject: str = "tent", **facts: Any) -> AlarmNotice:
    priority = KINDS[kind].priority
    return AlarmNotice(f"{kind}:{subject}", kind, 3, Transition.ACT, priority, "B", True, space, facts)


def dry(**facts: Any) -> AlarmNotice:
    told: dict[str, Any] = {
        "value": 76.4,
        "limit": 80.0,
        "side": "low",
        "quantity": "humidity",
        "from_ms": NOW - 600_000,
        "since_ms": NOW,
        "relay": "tent-mist",
        "relay_on": True,
        "blocked": None,
    }
    return notice("humidity-low", **(told | facts))


@pytest.mark.parametrize(
    ("one", "text"),
    [
        (
            dry(),
            "TENT DRY 76% for 10min, keep over 80. Mist on, maybe mist not reaching the crop. "
            "Act by 08:04. Check water, pump, nozzles. Seen it: gillhouse ack",
        ),
        (
            dry(because="tank-empty:tank-1"),
            "TENT DRY 76% for 10min, keep over 80. Mist on, tank empty. Act by 08:04: pins stall, caps crack."
            " Check water, pump, nozzles. Seen it: gillhouse ack",
        ),
        (
            dry(relay_on=False, blocked="door-open"),
            "TENT DRY 76% for 10min, keep over 80. Mist held back: door open. "
            "Act by 08:04: pins stall, caps crack. Check water, pump, nozzles. Seen it: gillhouse ack",
        ),
        (
            notice("broker-lost", None, "broker", from_ms=NOW - 120_000, since_ms=NOW),
            "FARM NO CONTACT for 2min. Maybe message broker or network down. "
            "Act by 07:12: all spaces unwatched. Restart broker, check network. Seen it: gillhouse ack",
        ),
        (
            notice("sensor-silent", "tent", "tent-rh", sensor="tent-rh", silent_s=185, since_ms=NOW),
            "TENT SENSOR SILENT tent-rh for 3min. Maybe battery, cable or radio. "
            "Act by 10:14: runs by its timed programme. Look at the sensor board. Seen it: gillhouse ack",
        ),
        (
            notice("co2-people-30000", value=31_250.0, limit=30_000.0, side="high", quantity="co2"),
            "TENT CO2 OVER 30000 31250ppm now, keep under 30000. Maybe no fresh air. Act now: can kill. "
            "KEEP OUT. Get out now. Open up from outside. Seen it: gillhouse ack",
        ),
    ],
)
def test_what_a_person_reads(one: AlarmNotice, text: str) -> None:
    assert alarm_text(one, NAMES, ROME, NOW) == text
    assert len(text) <= 160


def shape(one: AlarmNotice, text: str) -> list[int]:
    """Where each part begins in the text; every one must be there."""
    kind = KINDS[one.kind]
    marks = [
        kind.title,
        r"(\bfor \d+(s|min|h|d)\b|\bnow\b)",
        r"\. (Maybe |Mist |Fan |Heater |Cooler |[A-Z])",
        r"Act (now|by \d\d:\d\d)[.:]",
        re.escape(kind.action),
        "gillhouse ack",
    ]
    places, at = [], 0
    for mark in marks:
        found = re.compile(mark).search(text, at)
        assert found, f"{mark!r} is missing, or stands too early, in {text!r}"
        places.append(found.start())
        at = found.end() - 1 if mark.startswith(r"\. ") else found.end()
    return places


HOSTILE = [
    "Tent",
    "x" * 200,
    "Old tent behind the long barn by the road",
    "a\r\nb\x00\x1b[2J",
    "{name}`|^~[]\\",
    "菇房",
    "",
    "Größe Ærø 🍄",
]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", HOSTILE)
@pytest.mark.parametrize("stored", [True, False])
@pytest.mark.parametrize("about", ["space", "sensor", "relay"])
def test_every_kind_fits_and_keeps_its_order(kind: str, name: str, stored: bool, about: str) -> None:
    facts: dict[str, Any] = {"from_ms": NOW - 47 * 3_600_000, "since_ms": NOW - 46 * 3_600_000}
    subject = "tent"
    if about == "space":
        facts |= {
            "value": 31_250.55,
            "limit": 30_000.0,
            "side": "high",
            "quantity": "co2",
            "relay": "fan",
            "relay_on": False,
            "blocked": Reason.OTHER_SPACE_FIRST.value,
        }
    else:
        subject = name or "s"
        facts[about] = subject
    one = notice(kind, "tent", subject, **facts)
    text = alarm_text(one, {"tent": name}, ROME, NOW, Beside(stored=stored))
    assert len(text) <= 160
    assert set(text) <= GSM_BASIC
    assert text.endswith(NOT_STORED) is not stored
    assert shape(one, text)[0] > 1, "where stands first"


@given(
    st.sampled_from(sorted(KINDS)),
    st.text(max_size=60),
    st.text(min_size=1, max_size=60),
    st.dictionaries(
        st.sampled_from(
            [
                "value",
                "limit",
                "side",
                "quantity",
                "relay",
                "sensor",
                "relay_on",
                "blocked",
                "because",
                "silent_s",
                "since_ms",
                "from_ms",
                "detail",
            ]
        ),
        st.one_of(
            st.none(),
            st.booleans(),
            st.text(max_size=30),
            st.integers(-(10**9), 10**13),
            st.floats(-1e6, 1e6),
        ),
    ),
    st.integers(0, 4_000_000_000_000),
    st.booleans(),
)
def test_no_facts_or_names_break_it(
    kind: str, name: str, subject: str, facts: dict[str, Any], now_ms: int, stored: bool
) -> None:
    beside = Beside(stored=stored)
    text = alarm_text(notice(kind, "tent", subject, **facts), {"tent": name}, ROME, now_ms, beside)
    assert len(text) <= 160
    assert set(text) <= GSM_BASIC
    assert KINDS[kind].title in text


@pytest.mark.parametrize(
    ("value", "limit", "side", "quantity", "shown"),
    [
        (79.6, 80.0, "low", "humidity", "79%"),
        (96.2, 96.0, "high", "humidity", "97%"),
        (10.96, 11.0, "low", "temperature", "10.9C"),
        (24.01, 24.0, "high", "temperature", "24.1C"),
        (-0.31, 2.0, "low", "temperature", "-0.4C"),
        (1_200.2, 1_200.0, "high", "co2", "1201ppm"),
        (24.1, 24.0, "high", "temperature", "24.1C"),
    ],
)
def test_a_value_past_its_limit_never_reads_as_the_limit(
    value: float, limit: float, side: str, quantity: str, shown: str
) -> None:
    kind = f"{quantity}-{side}"
    one = notice(kind, value=value, limit=limit, side=side, quantity=quantity)
    assert f" {shown} now, keep {'over' if side == 'low' else 'under'} {limit:g}." in alarm_text(
        one, NAMES, ROME, NOW
    )


@pytest.mark.parametrize(
    ("ms", "said"),
    [
        (999, "now"),
        (45_000, "45s"),
        (59_999, "59s"),
        (60_000, "1min"),
        (600_000, "10min"),
        (7_199_999, "119min"),
        (7_200_000, "2h"),
        (172_800_000, "2d"),
    ],
)
def test_how_long(ms: int, said: str) -> None:
    text = alarm_text(notice("door-open", from_ms=NOW - ms), NAMES, ROME, NOW)
    assert text.startswith(f"TENT DOOR OPEN {said if said == 'now' else 'for ' + said}.")


def test_time_that_is_up_says_now() -> None:
    """Door open: 60 min allowed. From 05:00 on 06:14 is too late."""
    text = alarm_text(notice("door-open", from_ms=NOW - 74 * 60_000), NAMES, ROME, NOW)
    assert "Act now" in text


def test_the_time_left_follows_the_clock_on_the_wall_through_the_autumn_change() -> None:
    """25 October 2026, 02:30 summer time in Rome (00:30 UTC), two hours allowed: 03:30 winter time."""
    now = 1_792_888_200_000  # date -u -d 2026-10-25T00:30Z +%s
    text = alarm_text(notice("tank-empty", from_ms=now), NAMES, ROME, now)
    assert "Act by 03:30" in text


def test_accents_are_folded_and_control_characters_gone() -> None:
    assert plain("Schéune\tfür\r\nShiitake\x1b[2J") == "Scheune fur Shiitake 2J"
    one = notice("door-open", "barn", "barn")
    assert alarm_text(one, NAMES, ROME, NOW).startswith("SCHEUNE FUR SHIITAKE DOOR OPEN")
    assert subject_line(one, NAMES) == "SCHEUNE FUR SHIITAKE DOOR OPEN"


def test_a_late_message_says_from_when_and_still_fits() -> None:
    assert late("TENT DRY", NOW, ROME) == "TENT DRY (from 06:14)"
    long = late("word " * 32, NOW, ROME)
    assert len(long) <= 160
    assert long.endswith("word (from 06:14)")
    assert len(marked("x" * 300, "(mark)")) == 160


def test_a_call_says_what_goes_with_it_how_to_answer_and_who_is_next() -> None:
    lost = notice("broker-lost", None, "broker", from_ms=NOW - 120_000, since_ms=NOW)
    who = next_up({"next": "bo", "next_ms": NOW + 900_000}, {"bo": "Bo"}, ROME)
    assert who == "Bo 06:29"
    text = alarm_text(lost, NAMES, ROME, NOW, Beside(code="4711", next_up=who))
    assert text == (
        "FARM NO CONTACT for 2min. Maybe message broker or network down. Act by 07:12: all spaces unwatched. "
        "Restart broker, check network. Reply ok 4711."
    )
    short = notice("door-open", from_ms=NOW - 120_000, since_ms=NOW)
    text = alarm_text(short, NAMES, ROME, NOW, Beside(next_up=who))
    assert text.endswith("door-open:tent (next: Bo 06:29)")
    others = tuple(notice(kind) for kind in ("tank-empty", "door-open", "hose", "fan-unasked"))
    for count in range(1, 5):
        told = alarm_text(lost, NAMES, ROME, NOW, Beside(others[:count]))
        assert len(told) <= 160
        assert ("Also: TENT TANK EMPTY" in told) or (f"Also {count} more." in told)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_fits_with_everything_beside_it(kind: str) -> None:
    one = notice(kind, "tent", "tent", from_ms=NOW - 600_000, since_ms=NOW)
    beside = Beside((dry(), dry()), "4711", "Somebody Else 06:29", stored=False)
    text = alarm_text(one, {"tent": "A name as long as it may be"}, ROME, NOW, beside)
    assert len(text) <= 160
    assert "Reply ok 4711" in text
    assert text.endswith(NOT_STORED)


def test_a_call_for_what_is_over_says_so_and_since_when() -> None:
    """Mains off from 03:14 to 06:14, nobody answered; called on at 06:44. 160 letters: TS 23.040."""
    facts = {"from_ms": NOW - 3 * 3_600_000, "since_ms": NOW - 3 * 3_600_000, "over": True, "over_ms": NOW}
    one = notice("mains-off", None, "power", sensor="power", **facts)
    assert alarm_text(one, NAMES, ROME, NOW + 1_800_000, Beside(code="4711")) == (
        "FARM MAINS OFF power over since 06:14 after 3h. Maybe fuse, trip or power cut. Nobody has seen it"
        " yet. See that all is well. Reply ok 4711."
    )
    assert subject_line(one, NAMES) == "FARM MAINS OFF power is over"
    told = alarm_text(dry(), NAMES, ROME, NOW, Beside((one,)))
    assert "MAINS OFF power is over" in told or "Also 1 more." in told


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_that_is_over_fits_and_what_latches_says_to_reset(kind: str) -> None:
    one = notice(kind, from_ms=NOW - 600_000, since_ms=NOW - 600_000, over=True, over_ms=NOW)
    text = alarm_text(one, {"tent": "A name as long as it may be"}, ROME, NOW, Beside(code="4711"))
    assert len(text) <= 160
    assert set(text) <= GSM_BASIC
    assert " over since 06:14 after 10min." in text
    assert " for 10min" not in text and "Act " not in text
    assert ("reset" in text) is KINDS[kind].latching


def test_that_it_is_over_and_that_somebody_watches_again_is_said_shortly() -> None:
    over = cleared_text((notice("tank-empty"), notice("door-open")), NAMES, ROME, NOW)
    assert over.startswith("Over at 06:14: TENT TANK EMPTY, TENT DOOR OPEN.")
    back = back_text({"from_ms": NOW - 3_600_000, "to_ms": NOW, "why": "daemon"}, ROME)
    assert back.startswith("Watching again. Not watched from Wed 05:14 to Wed 06:14: the box was not ")
    assert max(len(over), len(back)) <= 160
