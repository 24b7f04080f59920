"""Batches in the grower's words: a line for the list, and the book of one. Formatting only."""

from collections.abc import Sequence
from datetime import tzinfo
from typing import Any

from gillhouse.alerts.wording import plain
from gillhouse.audit import told
from gillhouse.audit.exposure import Exposure, Spent
from gillhouse.audit.wording import reason_words, species_words
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.records.batch_book import Book, Entry

LAST_ENTRIES = 30


def brief(one: dict[str, Any]) -> list[str]:
    """One batch of a status (see `Farm.status`) with what must be known now."""
    rack = f", {plain(one['rack'])}" if one["rack"] else ""
    lines = [
        f"{one['batch']:<12} {one['kg']:g} kg {species_words(one['species'])}{rack}:"
        f" {one['stage']}, day {one['day']}, flush {one['flush']}"
    ]
    if one["next"] is not None and one["next"]["due"]:
        lines.append(f"  {one['next']['stage']} is due by the usual days: look at the crop")
    if one["blocks_c"] is not None:
        lines.append(f"  blocks at about {one['blocks_c']:.0f} C: dew on them, hold the mist")
    return lines


def listed(one: dict[str, Any], zone: tzinfo) -> list[str]:
    """The same with what comes next, and how to answer."""
    lines, batch = brief(one), one["batch"]
    planned, proposed = one["planned"], one["next"]
    if planned is not None:
        lines.append(f"  {planned['stage']} begins {told.day(planned['at_ms'], zone)} ({planned['who']})")
    if proposed is not None and not proposed["due"]:
        begin, end = (told.day(proposed[key], zone) for key in ("from_ms", "to_ms"))
        lines.append(f"  {proposed['stage']} usual from {begin} to {end}")
    if proposed is not None and proposed["due"]:
        lines.append(
            f"  yes: gillhouse batch stage {batch} --accept    not yet: gillhouse batch later {batch}"
        )
    return lines


def shown(book: Book, been: Sequence[Exposure], zone: tzinfo) -> list[str]:
    """The book of one batch: what it went through, then what was written down."""
    end = "" if book.ended_ms is None else f", ended {_moment(book.ended_ms, zone)}"
    lines = [f"{book.batch}: {book.kg:g} kg {species_words(book.species)}{end}", ""]
    for one in been:
        lines += _been(one, zone)
    lines += ["", "Written down:"]
    lines += [f"  {_entry(entry, zone)}" for entry in book.entries[-LAST_ENTRIES:]]
    return lines


def _been(one: Exposure, zone: tzinfo) -> list[str]:
    rack = f", {plain(one.rack)}" if one.rack else ""
    head = (
        f"{_moment(one.from_ms, zone)} to {_moment(one.to_ms, zone)}: {one.space}{rack},"
        f" {one.stage}, flush {one.flush}"
    )
    return [head, *(f"  {_spent(quantity, spent)}" for quantity, spent in one.quantities.items())]


def _spent(quantity: Quantity, spent: Spent) -> str:
    """Such as: humidity     right 41 h, too low 2 h, not known 1 h; 78-93 %, wanted 85-92 %."""
    parts = [
        f"{words} {_hours(ms)}"
        for words, ms in (
            ("right", spent.inside_ms),
            ("too low", spent.below_ms),
            ("too high", spent.above_ms),
            ("not known", spent.unknown_ms),
        )
        if ms >= 60_000
    ]
    seen = (
        ""
        if spent.least is None or spent.most is None
        else f"; {told.span(quantity, spent.least, spent.most)}"
    )
    return f"{told.TITLE[quantity]:<12} {', '.join(parts) or 'no time'}{seen}{_wanted(quantity, spent)}"


def _wanted(quantity: Quantity, spent: Spent) -> str:
    if spent.low is not None and spent.high is not None:
        return f", wanted {told.span(quantity, spent.low, spent.high)}"
    if spent.high is not None:
        return f", wanted under {told.limit(quantity, spent.high)}"
    return "" if spent.low is None else f", wanted over {told.limit(quantity, spent.low)}"


def _hours(ms: int) -> str:
    hours = ms / 3_600_000
    return f"{hours:.1f} h" if hours < 10 else f"{hours:.0f} h"


def _entry(entry: Entry, zone: tzinfo) -> str:
    who = entry.facts.get("who")
    text = entry.facts.get("text")
    by = f" ({who})" if who else ""
    more = f": {text}" if text else ""
    return f"{_moment(entry.ts, zone)}  {reason_words(Reason(entry.reason), entry.facts)}{more}{by}"


def _moment(ms: int, zone: tzinfo) -> str:
    return f"{told.day(ms, zone)} {told.clock(ms, zone)}"
