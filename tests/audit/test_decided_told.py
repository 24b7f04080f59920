"""What a replay found, in a grower's words. Expected sentences are written by hand from the shipped farm."""

import pytest

from audit.nights import shipped_config
from audit.test_told import JARGON
from gillhouse.audit.decided_told import HAPPENED, decided
from gillhouse.core.outputs import AlarmNotice, Authority, Command, Event, EventKind, Transition
from gillhouse.core.readings import GOOD, Mark, Quality, Verdict
from gillhouse.core.reasons import Reason
from gillhouse.store.codec import decision_line

DRY = {"value": 81.44, "limit": 87.0}


def mist(**changed: object) -> Command:
    return Command("tent-mist", True, 8_000, Authority.DEMAND, Reason.AIR_DRY, (4,), DRY, **changed)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (mist(), "Tent mist (tent-mist) on for 8 s: air too dry: 81.4 %, keep over 87 %"),
        (mist(renewal=True), "Tent mist (tent-mist) stays on for 8 s: air too dry: 81.4 %, keep over 87 %"),
        (mist(advise=True),
         "Tent mist (tent-mist) on for 8 s, on advice only: air too dry: 81.4 %, keep over 87 %"),
        (Command("pump", False, 0, Authority.DEMAND, Reason.RUN_ENDED), "Shared pump (pump) off: run over"),
        (Command("sold", False, 0, Authority.DEMAND, Reason.RUN_ENDED), "Sold off: run over"),
        (Event(EventKind.REFUSED, "room-mist", "room", Reason.DOOR_OPEN),
         "Room mist (room-mist) held back: door open"),
        (Event(EventKind.DECISION, "tent", "tent", Reason.IN_BAND, {"role": "mist"}),
         "Tent mist: back where it should be"),
        (Event(EventKind.DUE, "barn-mist-day", "barn", Reason.PROGRAMME,
               {"programme": "barn-mist-day", "ran": True, "role": "mist"}),
         "Programme barn-mist-day runs: timed programme barn-mist-day"),
        (AlarmNotice("humidity-low:tent", "humidity-low", 1, Transition.ACT, 2, "B", True, "tent"),
         "Alarm DRY (Tent) rings"),
        (GOOD, "The reading is trusted"),
        (Verdict(Quality.SUSPECT, Mark.JUMPED), "The reading is not trusted (jumped)"),
    ],
)  # fmt: skip
def test_by_hand(what: Command | Event | AlarmNotice | Verdict, words: str) -> None:
    assert decided(decision_line(what), shipped_config().farm) == words


def test_whatever_it_is_there_are_plain_words() -> None:
    farm = shipped_config().farm
    told = [
        decided(decision_line(Event(kind, "tent", space, Reason.IN_BAND)), farm)
        for kind in EventKind
        for space in ("tent", None)
    ]
    assert set(HAPPENED) == {change.value for change in Transition}
    told += [
        decided(decision_line(AlarmNotice("x:y", "x", 1, change, 2, "B", True, None)), farm)
        for change in Transition
    ]
    told += [decided(decision_line(Verdict(Quality.BAD, mark)), farm) for mark in Mark]
    assert all(one and "{" not in one for one in told)
    assert [one for one in told if JARGON.search(one)] == []
