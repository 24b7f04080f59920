"""What the log says of what may be missing: a broker that forgot us, a journal put aside. By hand."""

from core.farm_parts import WALL_MS, Bench, farm
from gillhouse.core.inputs import Link, LinkChange, Started
from gillhouse.core.outputs import EventKind, Transition


def gaps(bench: Bench) -> list[tuple[str, dict[str, object]]]:
    return [(event.subject, dict(event.facts)) for _, event in bench.events if event.kind is EventKind.GAP]


def test_a_broker_that_forgot_us_leaves_a_gap_with_its_span() -> None:
    bench = Bench(farm())
    bench.wait(60)
    bench.give(LinkChange(Link.BROKER, False, "gone"))
    bench.wait(30)
    bench.give(LinkChange(Link.BROKER, True, "back", WALL_MS + 59_000))
    span = {"from_ms": WALL_MS + 59_000, "to_ms": WALL_MS + 90_000, "detail": "back"}
    assert gaps(bench) == [("broker", span)]


def test_a_broker_that_kept_our_place_leaves_none() -> None:
    bench = Bench(farm())
    bench.give(LinkChange(Link.BROKER, False, "gone"))
    bench.give(LinkChange(Link.BROKER, True, "back"))
    assert gaps(bench) == []


def test_a_journal_put_aside_is_told_to_people_until_a_start_finds_it_whole() -> None:
    bench = Bench(farm(), started=False)
    bench.give(Started("test", "digest", True, aside="journal.db.damaged-1"))
    bench.wait(3600)
    told = [n for _, n in bench.notices if n.kind == "journal-damaged"]
    assert [n.announce for n in told if n.transition is Transition.ACT] == [True]
    assert gaps(bench) == [("journal", {"aside": "journal.db.damaged-1"})]
    bench.give(Started("test", "digest", True))
    bench.wait(60)
    assert [n for _, n in bench.notices if n.kind == "journal-damaged"][-1].transition is Transition.RTN
