"""The alarm pages say what the program does.

python tests/docs/test_alarm_pages.py     writes the table of kinds anew, between its two markers
"""

import re
from pathlib import Path

from gillhouse.alerts import CHANNELS
from gillhouse.core.alarm_kinds import KINDS, LONGEST_SHELVE_MS, REALARM_MS, REPEAT_MS, TIMING, Kind
from gillhouse.core.edges import AlertSettings

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "alarms.md"
BEGIN = "<!-- kinds: made by tests/docs/test_alarm_pages.py, do not edit -->"
END = "<!-- end of kinds -->"
HEAD = (
    "| kind | priority | message says | likeliest cause | if nobody acts | do first | within | waits "
    "| not told while |"
)


def span(ms: int) -> str:
    """A length of time in whole minutes or seconds."""
    return f"{ms // 60_000} min" if ms % 60_000 == 0 and ms else f"{ms / 1_000:g} s"


def row(name: str, kind: Kind) -> str:
    parents = ", ".join(f"`{parent}`" for parent in kind.parents)
    latching = ", stays until reset" if kind.latching else ""
    limits = {f"{quantity}-{side}" for quantity in TIMING for side in ("low", "high")}
    waits = "as set" if name in limits else span(kind.on_delay_ms)
    cells = (
        f"`{name}`",
        f"{kind.priority}{latching}",
        kind.title,
        kind.cause,
        kind.consequence,
        kind.action,
        f"{kind.time_allowed_min} min",
        waits,
        parents or "-",
    )
    return f"| {' | '.join(cells)} |"


def table() -> str:
    rule = "|" + " --- |" * (HEAD.count("|") - 1)
    return "\n".join([BEGIN, HEAD, rule, *(row(name, kind) for name, kind in KINDS.items()), END])


def renewed(page: str) -> str:
    """`page` with the table between its markers made anew."""
    before, _, rest = page.partition(BEGIN)
    _, _, after = rest.partition(END)
    return before + table() + after


def test_the_table_of_kinds_is_current() -> None:
    page = PAGE.read_text(encoding="utf-8")
    assert page.count(BEGIN) == page.count(END) == 1
    assert renewed(page) == page, "run: python tests/docs/test_alarm_pages.py"
    assert all(f"| `{kind}` |" in page for kind in KINDS)


def test_the_table_of_priorities_is_current() -> None:
    """Rows: priority | name | said again | as new | silenced for at most."""
    page = PAGE.read_text(encoding="utf-8")
    units = {"min": 60_000, "h": 3_600_000}
    time = r"(\d+) (min|h)"
    found = re.findall(rf"^\| ([123]) \| [^|]+ \| {time} \| {time} \| {time} \|$", page, re.M)
    told = {
        int(priority): tuple(int(n) * units[unit] for n, unit in zip(rest[::2], rest[1::2], strict=True))
        for priority, *rest in found
    }
    assert told == {one: (REPEAT_MS[one], REALARM_MS[one], LONGEST_SHELVE_MS[one]) for one in (1, 2, 3)}


def test_the_how_to_knows_every_channel_and_the_waits() -> None:
    page = (PAGE.parents[1] / "how-to" / "alerts.md").read_text(encoding="utf-8")
    assert all(f"`kind: {kind}`" in page for kind in CHANNELS)
    seconds = [wait // 1_000 for wait in AlertSettings().retry_ms]
    assert f"after {', '.join(map(str, seconds[:-1]))} and {seconds[-1]} s" in page


if __name__ == "__main__":
    PAGE.write_text(renewed(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
