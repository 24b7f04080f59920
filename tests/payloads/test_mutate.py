"""A million seeded mutations of the corpus: only PayloadError leaves a decoder, and every fate occurs."""

from gillhouse.core.inputs import Delivery
from gillhouse.payloads import Reject
from payloads import mutate


def test_a_million_mutations() -> None:
    tally = mutate.run(1_000_000, seed=1)
    print("\n".join(tally.lines()))
    assert tally.messages == 1_000_000
    assert 0 < tally.accepted < tally.messages
    assert [reason for reason in Reject if not tally.rejects[reason]] == []
    assert [delivery for delivery in Delivery if not tally.readings[delivery]] == []
    assert tally.accepted <= sum(tally.readings.values())  # a batch gives several


def test_the_same_seed_gives_the_same_tally() -> None:
    one, other = mutate.run(2_000, seed=7), mutate.run(2_000, seed=7)
    assert (one.accepted, one.readings, one.rejects) == (other.accepted, other.readings, other.rejects)
    assert mutate.run(2_000, seed=8).rejects != one.rejects
