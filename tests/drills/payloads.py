"""Strange payloads: samples of every format, mutated by a seed, into the decoder.

Nothing but a reading or a reason may leave it; `payloads.mutate` raises with the message otherwise. Ten
million take minutes: `python tests/payloads/mutate.py 10000000 7`. `guided` looks where coverage leads.
"""

from pathlib import Path

from tests.drills.drill import Drill, Line, Size, Told, count

from payloads import mutate

MESSAGES = {Size.QUICK: 20_000, Size.FULL: 1_000_000}
PARTS = 20


def run(size: Size, folder: Path, told: Told) -> list[Line]:
    accepted = readings = rejected = 0
    for part in range(PARTS):
        tally = mutate.run(MESSAGES[size] // PARTS, 20_261_125 + part)
        accepted += tally.accepted
        readings += sum(tally.readings.values())
        rejected += sum(tally.rejects.values())
        told((part + 1) / PARTS)
    assert readings and rejected
    return [
        Line("messages", count(MESSAGES[size])),
        Line("gave a reading", count(accepted)),
        Line("readings, refusals with a reason", f"{count(readings)}, {count(rejected)}"),
        Line("anything else that left the decoder", "0", "0"),
    ]


DRILL = Drill(
    "Strange payloads", "Samples of every format with bytes and tokens flipped, cut, doubled, traded.", run
)
