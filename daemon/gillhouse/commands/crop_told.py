"""What a batch gave, as text, JSON and CSV. Formatting only."""

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import asdict
from datetime import tzinfo

from gillhouse.audit import told as times
from gillhouse.audit.wording import species_words
from gillhouse.log_lines import one_line
from gillhouse.records.batch_book import Book
from gillhouse.records.crop_book import CropLine
from gillhouse.records.crop_notes import Filled, Looked, Lost, Picked, said
from gillhouse.records.yields import FlushYield, Yield

NO_DRY = "dry weight not given"
NO_PINS = "days from pins not known"
COLUMNS = (
    "number", "batch", "flush", "what", "at", "written_at", "who", "kg", "waste_kg", "pieces", "grade",
    "blocks", "cause", "signs", "dry_kg", "words", "corrects",
)  # fmt: skip
WHAT = {Picked: "picked", Lost: "lost", Looked: "looked", Filled: "filled"}
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""A cell that begins so is run by a spreadsheet. Source: OWASP, CSV Injection."""


def told(book: Book, lines: Sequence[CropLine], gave: Yield, zone: tzinfo) -> list[str]:
    """The sums of a batch, then its entries with their numbers."""
    head = f"{book.batch}: {species_words(book.species)}, {book.kg:g} kg of blocks"
    return [
        head,
        f"  {_weights(gave.kg, gave.waste_kg)}; {_efficiency(gave)}{_lost(gave)}",
        *(f"  {_flush(one, zone)}" for one in gave.flushes),
        *(f"  {_line(one, zone)}" for one in lines),
    ]


def as_json(found: Sequence[tuple[Book, Sequence[CropLine], Yield]]) -> str:
    """The same for another program; weights in kg, moments in ms since 1970."""
    return json.dumps(
        [
            {
                "batch": book.batch,
                "species": book.species,
                "block_kg": book.kg,
                "yield": asdict(gave),
                "entries": [_row(one) for one in lines],
            }
            for book, lines, gave in found
        ],
        indent=1,
    )


def as_csv(lines: Sequence[CropLine], zone: tzinfo) -> str:
    """The entries as RFC 4180, moments in the farm's time with its offset."""
    out = io.StringIO()
    table = csv.writer(out)
    table.writerow(COLUMNS)
    for one in lines:
        row = _row(one)
        for name, ms in (("at", one.entry.about.at_ms), ("written_at", one.ts)):
            row[name] = times.local(ms, zone).isoformat(timespec="minutes")
        table.writerow([_cell(row.get(name)) for name in COLUMNS])
    return out.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, list | tuple):
        value = " ".join(map(str, value))
    if not isinstance(value, str):
        return value
    safe = one_line(value)
    return f"'{safe}" if value.startswith(_FORMULA) or safe.startswith(_FORMULA) else safe


def _row(line: CropLine) -> dict[str, object]:
    plain = asdict(line.entry)
    about = plain.pop("about")
    at_ms = about.pop("at_ms")
    return {
        "number": line.number,
        "what": WHAT[type(line.entry)],
        "at_ms": at_ms,
        "written_at_ms": line.ts,
        "who": line.who,
        "corrects": line.corrects,
        **about,
        **plain,
    }


def _weights(kg: float, waste_kg: float) -> str:
    return (
        f"picked {kg:.3g} kg, waste {waste_kg:.3g} kg"
        if kg < 1
        else f"picked {kg:.2f} kg, waste {waste_kg:.2f} kg"
    )


def _efficiency(gave: Yield) -> str:
    if gave.efficiency_pct is None:
        return NO_DRY
    return f"biological efficiency {gave.efficiency_pct:.1f} % of {gave.dry_kg:g} kg dry"


def _lost(gave: Yield) -> str:
    if not gave.lost:
        return ""
    share = "" if gave.lost_pct is None else f" of {gave.blocks}, {gave.lost_pct:.0f} %"
    return f"; {gave.lost} blocks lost{share}"


def _flush(one: FlushYield, zone: tzinfo) -> str:
    days = NO_PINS if one.pin_to_pick_d is None else f"{one.pin_to_pick_d:.1f} days from pins"
    first = times.day(one.first_ms, zone)
    return (
        f"flush {one.flush}: {_weights(one.kg, one.waste_kg)}, {one.share_pct:.0f} % of the crop;"
        f" first pick {first}, {days}"
    )


def _line(line: CropLine, zone: tzinfo) -> str:
    about = line.entry.about
    words = f"; {one_line(about.words)}" if about.words else ""
    put = "" if line.corrects is None else f" (puts {line.corrects} right)"
    return (
        f"{line.number:>8}  {times.day(about.at_ms, zone)} {times.clock(about.at_ms, zone)}  flush"
        f" {about.flush}: {said(line.entry)}{words} ({one_line(line.who)}){put}"
    )
