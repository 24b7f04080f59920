"""The rules around the alarm state table: modes, out of service, maximum times, restart.

Sources: that suppressed alarms stay alive and that out of service is a person's act with a reason and an
expected end is OPC 10000-9, 4.8 and 5.8; that shelving has a maximum its 5.8.2. The modes' table, the maxima
and the stamps after a restart are choices of ours, written down before this code.
"""

import pytest

from gillhouse.core.alarm import FOUND_WITHIN_MS, AlarmBook, Condition
from gillhouse.core.alarm_kinds import KINDS, LONGEST_OUT_MS, SUPPRESSED_IN
from gillhouse.core.alarm_states import Holding
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.instant import Instant
from gillhouse.core.modes import Mode
from gillhouse.core.outputs import AlarmNotice, Transition
from gillhouse.core.snapshot import from_plain, to_plain

WALL_MS = 1_792_000_000_000
MIN = 60_000
DRY = "humidity-low:tent"


def at(s: float) -> Instant:
    return Instant(WALL_MS + round(s * 1000), round(s * 1000))


def on(kind: str, active: bool | None = True, subject: str = "tent", space: str | None = "tent") -> Condition:
    return Condition(kind, subject, space, active, {}, 0, 0)


def brief(notices: list[AlarmNotice]) -> list[tuple[str, str, bool]]:
    return [(one.transition.value, one.state, one.announce) for one in notices]


def test_the_table_of_modes_holds_back_nothing_that_wakes_or_protects_people() -> None:
    for mode, kinds in SUPPRESSED_IN.items():
        for kind in kinds:
            assert KINDS[kind].priority != 1, (mode, kind)
            assert not KINDS[kind].people, (mode, kind)


def test_a_mode_holds_back_what_its_table_names_and_says_so_and_gives_it_back() -> None:
    book = AlarmBook()
    assert book.in_modes(at(0), {"tent": (Mode.CLEANING,)}) == []
    held = book.update(at(1), [on("humidity-low")])
    assert brief(held) == [("SUPP", "A", False), ("ACT", "B", False)]
    assert held[0].facts["mode"] == "cleaning"
    assert book.active()[0]["held_by"] == "cleaning"
    assert brief(book.in_modes(at(2), {})) == [("UNSUPP", "B", True)]
    assert book.in_modes(at(3), {}) == []


def test_an_alarm_that_is_on_when_the_mode_begins_is_held_and_comes_back() -> None:
    book = AlarmBook()
    book.update(at(0), [on("door-open")])
    assert brief(book.in_modes(at(1), {"tent": (Mode.HARVEST,)})) == [("SUPP", "B", False)]
    assert brief(book.update(at(2), [on("door-open", False)])) == [("RTN", "D", False)]
    assert brief(book.in_modes(at(3), {})) == [("UNSUPP", "A", False)]


def test_a_mode_of_one_space_says_nothing_of_another_and_never_holds_priority_1() -> None:
    book = AlarmBook()
    book.in_modes(at(0), {"tent": (Mode.EMPTY,)})
    urgent = Condition("humidity-low", "tent", "tent", True, {}, 0, 0, priority=1)
    found = book.update(at(1), [urgent, on("humidity-low", subject="room", space="room"), on("relay-stuck")])
    assert brief(found) == [("ACT", "B", True)] * 3


def test_out_of_service_needs_a_reason_and_an_end_within_a_month() -> None:
    def asked(text: str, for_ms: int | None, alarm: str = DRY) -> list[AlarmNotice]:
        act = OperatorAction(Act.OUT_OF_SERVICE, alarm, "Ada", text, for_ms=for_ms)
        return AlarmBook().act(at(0), act)

    for text, for_ms in (("", MIN), ("mended", None), ("mended", 0), ("mended", LONGEST_OUT_MS + 1)):
        (no,) = asked(text, for_ms)
        assert no.transition is Transition.REFUSED, (text, for_ms)
    (yes,) = asked("valve sent in", LONGEST_OUT_MS)
    assert (yes.transition, yes.who, yes.facts["why"]) == (Transition.SHELVE, "Ada", "valve sent in")
    assert asked("mended", MIN, "co2-people-15000:tent")[0].transition is Transition.REFUSED
    assert asked("mended", MIN, "no-such:tent")[0].transition is Transition.REFUSED


def test_out_of_service_outlives_a_restart_and_ends_at_its_time_or_by_a_person() -> None:
    book = AlarmBook()
    three_days = 3 * 24 * 60 * MIN
    book.act(at(0), OperatorAction(Act.OUT_OF_SERVICE, DRY, "Ada", "sensor sent in", for_ms=three_days))
    assert brief(book.update(at(1), [on("humidity-low")])) == [("ACT", "B", False)]
    back = from_plain(AlarmBook, to_plain(book))
    back.restart(Instant(WALL_MS + MIN, 0), away_ms=1_000)
    assert back.records[DRY].holds[Holding.OUT_OF_SERVICE].until_mono_ms == three_days - MIN
    back.update(Instant(WALL_MS + MIN, 0), [on("humidity-low")])
    (freed,) = back.act(Instant(WALL_MS + 2 * MIN, MIN), OperatorAction(Act.IN_SERVICE, DRY, "Bo"))
    assert (freed.transition, freed.state, freed.announce, freed.who) == (
        Transition.UNSHELVE, "B", True, "Bo",
    )  # fmt: skip
    (none,) = back.act(Instant(WALL_MS + 3 * MIN, 2 * MIN), OperatorAction(Act.IN_SERVICE, DRY, "Bo"))
    assert none.transition is Transition.REFUSED
    assert [one for one in book.update(at(three_days / 1000), []) if one.announce]


def test_shelving_once_by_command_ends_with_the_alarm_and_unshelving_ends_it_before() -> None:
    book = AlarmBook()
    book.update(at(0), [on("humidity-low")])
    book.act(at(1), OperatorAction(Act.SHELVE_ONCE, DRY, "Ada", for_ms=60 * MIN))
    over = book.update(at(2), [on("humidity-low", False)])
    assert [one.transition.value for one in over] == ["RTN", "UNSHELVE"]
    assert brief(book.update(at(3), [on("humidity-low")])) == [("ACT", "B", True)]
    book.act(at(4), OperatorAction(Act.SHELVE, DRY, "Ada", for_ms=60 * MIN))
    assert brief(book.act(at(5), OperatorAction(Act.UNSHELVE, DRY, "Ada"))) == [("UNSHELVE", "B", True)]


@pytest.mark.parametrize(("after_s", "found"), [(0, True), (FOUND_WITHIN_MS / 1000, True), (121, False)])
def test_what_is_on_at_the_start_and_was_never_heard_of_is_found_at_start(after_s: int, found: bool) -> None:
    """Rule 4 of the table: stored state missing, condition true at start -> B, "found active at start"."""
    book = AlarmBook()
    book.restart(at(0), away_ms=3_600_000)
    (notice,) = book.update(at(after_s), [on("tank-empty")])
    assert (notice.state, notice.facts.get("found_at_start", False)) == ("B", found)


def test_what_ended_while_nobody_watched_is_stamped_between_the_two_times() -> None:
    """Rule 4 of the table: a condition that cleared while down makes an RTN "between T1 and T2, not seen"."""
    book = AlarmBook()
    book.update(at(0), [on("tank-empty")])
    book.restart(Instant(WALL_MS + 90 * MIN, 0), away_ms=60 * MIN)
    (ended,) = book.update(Instant(WALL_MS + 91 * MIN, MIN), [on("tank-empty", False)])
    assert ended.transition is Transition.RTN
    assert ended.state == "D", "stored B is kept, so it is over and unseen"
    assert ended.facts["unseen_from_ms"] == WALL_MS + 30 * MIN
    assert ended.facts["unseen_to_ms"] == WALL_MS + 91 * MIN


def test_a_stored_state_that_still_holds_is_no_new_alarm() -> None:
    """Rule 5: stored B/C are kept; the occurrence stays, and its late acknowledgement still counts."""
    book = AlarmBook()
    book.update(at(0), [on("tank-empty")])
    book.restart(Instant(WALL_MS + 90 * MIN, 0))
    assert book.update(Instant(WALL_MS + 91 * MIN, MIN), [on("tank-empty")]) == []
    ack = OperatorAction(Act.ACK, "tank-empty:tent", "Ada", occurrence=1)
    assert brief(book.act(Instant(WALL_MS + 92 * MIN, 2 * MIN), ack)) == [("ACK", "C", False)]
