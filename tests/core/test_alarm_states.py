"""The alarm state table against its 13 check sequences.

Source: the sequences were worked through a small model written before this code, from the state picture usual
in ISA-18.2 practice and the independent parts (active, acknowledged, latched, shelved, suppressed, out of
service) of OPC 10000-9 section 5.8. Letters, announcements and refusals are theirs, not read off this code.
"""

import pytest

from gillhouse.core.alarm import AlarmBook, Condition
from gillhouse.core.alarm_states import AlarmRecord, Hold, Holding, Step, apply
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Transition

SEQUENCES = [
    # latching, events, states after each, announcements, refused
    (False, "ACT ACK RTN", "B C A", 1, 0),
    (False, "ACT RTN ACK", "B D A", 1, 0),
    (False, "ACT RTN ACT ACK RTN", "B D B C A", 2, 0),
    (False, "ACK RTN", "A A", 0, 2),
    (False, "ACT ACK REALARM ACK RTN", "B C B C A", 2, 0),
    (True, "ACT ACK RTN RESET", "B C F A", 1, 0),
    (True, "ACT RTN RESET ACK RESET", "B E E F A", 1, 1),
    (True, "ACT RTN ACT RTN ACK RESET", "B E B E F A", 2, 0),
    (False, "shelve-timed ACT RTN ACT expire-timed ACK RTN", "A B D B B C A", 1, 0),
    (False, "ACT shelve-timed RTN expire-timed", "B B D A", 1, 0),
    (False, "ACT shelve-once RTN ACT", "B B A B", 2, 0),
    (False, "design-on ACT shelve-timed design-off expire-timed", "A B B B B", 1, 0),
    (False, "oos-on ACT oos-off ACK RTN", "A B B C A", 1, 0),
]
HOLDS = {
    "shelve-timed": Holding.SHELVED_TIMED,
    "shelve-once": Holding.SHELVED_ONCE,
    "design-on": Holding.BY_DESIGN,
    "oos-on": Holding.OUT_OF_SERVICE,
}
FREES = {
    "expire-timed": Holding.SHELVED_TIMED,
    "design-off": Holding.BY_DESIGN,
    "oos-off": Holding.OUT_OF_SERVICE,
}


@pytest.mark.parametrize(("latching", "events", "states", "announced", "refused"), SEQUENCES)
def test_check_sequences_on_the_table(
    latching: bool, events: str, states: str, announced: int, refused: int
) -> None:
    """The bare table; holds are put on and taken off around it, once-shelving ends with the return."""
    record = AlarmRecord("k:s", "k", "s", None, 2)
    seen, said, denied = [], 0, 0
    for event in events.split():
        effects = []
        if event in HOLDS:
            record.holds[HOLDS[event]] = Hold("Ada", "test")
        elif event in FREES:
            del record.holds[FREES[event]]
            effects += [] if record.holds else [apply(record, Step.FREED, latching)]
        else:
            effects.append(apply(record, Step(event), latching))
        if event == "RTN" and record.holds.pop(Holding.SHELVED_ONCE, None) is not None:
            effects.append(apply(record, Step.FREED, latching))
        seen.append(record.state)
        said += sum(effect.announce for effect in effects)
        denied += sum(effect.refused for effect in effects)
    assert (" ".join(seen), said, denied) == (states, announced, refused)


def _kind(latching: bool) -> str:
    return "relay-stuck" if latching else "humidity-low"


@pytest.mark.parametrize(("latching", "events", "states", "announced", "refused"), SEQUENCES)
def test_check_sequences_through_the_book(
    latching: bool, events: str, states: str, announced: int, refused: int
) -> None:
    """The same through the book, with conditions, people and time instead of bare steps.

    A condition that stays false is no event in the book, so a refused RTN of the table is silent here.
    """
    book, seen, notices = AlarmBook(), [], []
    kind, alarm = _kind(latching), f"{_kind(latching)}:tent"
    # Realarm after 50 s and shelving for 40 s, so that each happens exactly when the sequence says so.
    book.realarm_ms = {1: 50_000, 2: 50_000}
    book.repeat_ms = {}
    now = Instant(1_700_000_000_000, 0)
    shelved_at = now
    for event in events.split():
        now = now.later(1_000)
        if event in ("ACT", "RTN"):
            on = Condition(kind, "tent", "tent", event == "ACT", {}, 0, 0)
            notices += book.update(now, [on])
        elif event in ("ACK", "RESET"):
            notices += book.act(now, OperatorAction(Act[event], alarm, "Ada"))
        elif event == "REALARM":
            now = now.later(50_000)
            notices += book.update(now, [])
        elif event in ("shelve-timed", "shelve-once"):
            shelved_at = now
            act = OperatorAction(Act.SHELVE, alarm, "Ada", for_ms=40_000)
            notices += book.shelve(now, act, once=event == "shelve-once")
        elif event == "expire-timed":
            now = shelved_at.later(40_000)
            notices += book.update(now, [])
        elif event in HOLDS:
            notices += book.hold(now, alarm, HOLDS[event], Hold("rule", "cleaning"))
        else:
            notices += book.release(now, alarm, FREES[event], "rule")
        seen.append(book.records[alarm].state if alarm in book.records else "A")
    assert " ".join(seen) == states
    assert sum(notice.announce for notice in notices) == announced
    silent_refusals = 1 if events == "ACK RTN" else 0
    assert sum(notice.transition is Transition.REFUSED for notice in notices) == refused - silent_refusals


def test_every_cell_that_is_not_in_the_table_is_refused_and_changes_nothing() -> None:
    allowed = {
        Step.ACT: "ADEF", Step.RTN: "BC", Step.ACK: "BDE",
        Step.RESET: "F", Step.REALARM: "C", Step.FREED: "ABCDEF",
    }  # fmt: skip
    facts = {
        "A": (False, True, False), "B": (True, False, False), "C": (True, True, False),
        "D": (False, False, False), "E": (False, False, True), "F": (False, True, True),
    }  # fmt: skip
    for letter, (active, acked, latched) in facts.items():
        for step, fitting in allowed.items():
            record = AlarmRecord("k:s", "k", "s", None, 2, active=active, acked=acked, latched=latched)
            assert record.state == letter
            effect = apply(record, step)
            assert effect.refused == (letter not in fitting), (letter, step)
            if effect.refused:
                assert (record.state, effect.announce) == (letter, False)
