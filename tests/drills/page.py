"""docs/explanation/reliability.md: its words, and the figures the drills gave. Nothing is measured here.

A run of some drills replaces their sections and leaves the others as they were printed.
"""

import re
from dataclasses import dataclass

from tests.bench.figures import machine
from tests.drills import ROOT
from tests.drills.drill import Drill, Line
from tests.drills.table import DRILLS

DOCUMENT = ROOT / "docs/explanation/reliability.md"


@dataclass(frozen=True)
class Outcome:
    """What one drill gave."""

    lines: tuple[Line, ...]
    took_s: float


HEAD = """\
# Faults it survives, with figures

What can go wrong with a box on a shelf was done to the real daemon on purpose: a real broker, a real
journal, boards that remember what the broker acknowledged, a relay board on the wire that writes down
every command. What is counted stands below. Written by `python -m tests.drills --write`; the figures
are never written by hand. A smaller form of every drill runs with the tests. Last run on {machine}.

What it means when something is acknowledged: a board's message, to the board, when the broker has it;
to the broker, when the daemon has it on the card (see [what is kept](what-is-kept.md)). *Twice* means
stored twice though the board tells its readings apart by its own time or a number.

Read it with care:

- **SIGKILL is not a power cut.** The kernel still writes what it was given. What a cut of the power
  does to the card is up to the card: the journal is written through at each commit (SQLite, WAL,
  `synchronous = FULL`), and a card that says "written" when it is not cannot be helped (SQLite, *How To
  Corrupt An SQLite Database File*). Before you trust a crop to a card, pull its plug a few dozen times,
  with nothing connected to the relays.
- The mail server that refuses for a day is drilled with the alerts (`tests/alerts/test_outbox.py`), on
  a virtual clock: each message once, in order.
- Boards, Wi-Fi and cards were not part of it: these are ordinary Debian machines.
"""

TAIL = """\
## More payloads

Ten million of them, seed 7, take about ten minutes on one core:

    python tests/payloads/mutate.py 10000000 7

And led by what the decoder has not done yet, with atheris, an open-source fuzzing library that nothing
else here needs:

    pip install atheris
    python -m tests.drills.guided -runs=10000000 -max_len=600 /tmp/found

It begins from the samples, keeps in the last folder what reached new lines, and ends with the message
if anything but a reading or a reason leaves the decoder.
"""

MARK = re.compile(r"^## .*?(?=^## |\Z)", re.MULTILINE | re.DOTALL)


def section(name: str, outcome: Outcome) -> str:
    """One drill's part of the page."""
    drill: Drill = DRILLS[name]
    rows = "\n".join(f"| {line.what} | **{line.figure}** | {line.must} |" for line in outcome.lines)
    took = f"{outcome.took_s:.0f} s" if outcome.took_s >= 1 else "under 1 s"
    head = "| counted | found | must be |\n|---|---|---|"
    return f"## {drill.title}\n\n{drill.done} (`{name}`, {took})\n\n{head}\n{rows}\n\n"


def kept() -> dict[str, str]:
    """The sections the document has now, by drill."""
    if not DOCUMENT.exists():
        return {}
    titles = {drill.title: name for name, drill in DRILLS.items()}
    found = {}
    for part in MARK.findall(DOCUMENT.read_text(encoding="utf-8")):
        title = part.split("\n", 1)[0].removeprefix("## ")
        if title in titles:
            found[titles[title]] = part
    return found


def write(found: dict[str, Outcome]) -> None:
    """Writes the document; drills that are not in `found` keep what was printed of them."""
    sections = kept() | {name: section(name, outcome) for name, outcome in found.items()}
    body = "".join(sections[name] for name in DRILLS if name in sections)
    DOCUMENT.write_text(f"{HEAD.format(machine=machine())}\n{body}{TAIL}", encoding="utf-8")
