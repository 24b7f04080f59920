"""`gillhouse parcel`: what somebody who helps needs to see, in one file, with secrets and people left out.

An allow-list: of the config only the sections in `SHARED`, of an event only its kind, space, reason and
figures. So a new section or a new fact is left out until somebody thinks of it. All is listed before anything
is written; nothing is ever sent.
"""

import json
import os
import platform
import zipfile
from collections.abc import Iterator, Mapping
from importlib.metadata import distributions
from pathlib import Path
from typing import Any

import click
import yaml

from gillhouse import __version__
from gillhouse.commands.options import default_state, state_option
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

SHARED = (
    "spaces", "sensors", "relays", "programmes", "supplies", "shared_air", "water", "alarms", "report",
    "store", "rates", "calls",
)  # fmt: skip
"""Sections of farm.yaml that name no person, no address and no secret."""
ONLY_KIND = ("channels", "people", "rota", "mirror", "heartbeat", "card")
"""Sections of which only the number of entries, and their kind, is told."""
LEFT_OUT = ("name", "url", "token", "password", "username", "phone", "to", "pin", "host", "device")
"""Parts of a key whose value is left out wherever it stands."""
MOST_EVENTS = 2_000
FOREVER_MS = 1 << 48


@click.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False), default=Path("gillhouse-parcel.zip"))
@click.option("--yes", is_flag=True, help="Do not ask before writing.")
@click.option("--show", is_flag=True, help="Print all that would be in it, and write nothing.")
@state_option
def command(file: Path, yes: bool, show: bool, state_dir: Path | None) -> None:
    """Put together what somebody who helps you needs to see, without secrets and people.

    Lists what is in it first, writes FILE, and sends nothing. Look into it before you give it away.

    Example: gillhouse parcel --show
    """
    with Reader((state_dir or default_state()) / JOURNAL) as reader:
        parts = contents(reader)
    if show:
        for name, text in parts.items():
            click.echo(f"--- {name}\n{text}")
        return
    for name, text in parts.items():
        click.echo(f"{len(text.encode()):>9} bytes  {name}")
    click.echo("Left out: people, addresses, notes, secrets, what boards sent in words.")
    if not yes:
        click.confirm(f"Write {file}?", abort=True)
    _write(file, parts)
    click.echo(f"{file} is written; nothing was sent.")


def contents(reader: Reader) -> dict[str, str]:
    """File name -> text of all that goes into a parcel."""
    return {
        "versions.txt": "\n".join(_versions()) + "\n",
        "config.yaml": yaml.safe_dump(_config(_farm(reader)), sort_keys=False, allow_unicode=True),
        "events.jsonl": "".join(f"{json.dumps(row)}\n" for row in _events(reader)),
        "alarms.jsonl": "".join(f"{json.dumps(row)}\n" for row in _alarms(reader)),
        "counters.json": json.dumps(_counters(reader), indent=1) + "\n",
        "chain.txt": _chain(reader),
    }


def _versions() -> Iterator[str]:
    yield f"gillhouse {__version__}"
    machine = f"{platform.system()} {platform.release()} {platform.machine()}"
    yield f"Python {platform.python_version()} on {machine}"
    yield from sorted(f"{one.metadata['Name']} {one.version}" for one in distributions())


def _farm(reader: Reader) -> Mapping[str, Any]:
    segment = reader.newest_segment()
    files = reader.config(segment.digest) if segment else None
    found = yaml.safe_load((files or {}).get("farm.yaml", ""))
    return found if isinstance(found, dict) else {}


def _config(farm: Mapping[str, Any]) -> dict[str, Any]:
    shared = {section: _plain(farm[section]) for section in SHARED if section in farm}
    counted = {section: _kinds(farm[section]) for section in ONLY_KIND if farm.get(section)}
    return {**shared, **counted}


def _plain(value: object) -> object:
    """A section without whatever might be a name, an address or a secret."""
    if isinstance(value, dict):
        return {
            key: "(left out)" if any(part in str(key) for part in LEFT_OUT) else _plain(inner)
            for key, inner in value.items()
        }
    if isinstance(value, list):
        return [_plain(inner) for inner in value]
    return value


def _kinds(section: object) -> object:
    """How many entries, and of which kind where they have one."""
    entries = list(
        section.values() if isinstance(section, dict) else section if isinstance(section, list) else ()
    )
    kinds = [entry.get("kind", "one") for entry in entries if isinstance(entry, dict)]
    return kinds or len(entries)


def _figures(facts: Mapping[str, object]) -> dict[str, object]:
    return {key: value for key, value in facts.items() if isinstance(value, bool | int | float)}


def _events(reader: Reader) -> Iterator[dict[str, object]]:
    for at in list(reader.events(0, FOREVER_MS))[-MOST_EVENTS:]:
        event = at.event
        yield {
            "ts": at.ts, "kind": event.kind.value, "space": event.space, "reason": event.reason,
            "facts": _figures(event.facts),
        }  # fmt: skip


def _alarms(reader: Reader) -> Iterator[dict[str, object]]:
    for at in list(reader.alarms(0, FOREVER_MS))[-MOST_EVENTS:]:
        told = at.notice
        yield {
            "ts": at.ts, "kind": told.kind, "space": told.space, "transition": told.transition,
            "state": told.state, "priority": told.priority, "facts": _figures(told.facts),
        }  # fmt: skip


def _counters(reader: Reader) -> dict[str, int]:
    """Summed over subjects: these may be topics."""
    summed: dict[str, int] = {}
    for (day, name, _), count in reader.counters("0", "9").items():
        key = f"{day} {name}"
        summed[key] = summed.get(key, 0) + count
    return summed


def _chain(reader: Reader) -> str:
    checked = reader.verify()
    found = "".join(f"{finding.what}\n" for finding in checked.findings)
    return f"{checked.rows} rows, {len(checked.findings)} findings, newest seal {checked.head}\n{found}"


def _write(file: Path, parts: Mapping[str, str]) -> None:
    """Readable by its owner alone."""
    descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "wb") as raw, zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED) as box:
        for name, text in parts.items():
            box.writestr(name, text)
