"""`gillhouse personal`: what the farm keeps of people, and taking somebody out for good."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import click
import yaml

from gillhouse.clock import SystemClock
from gillhouse.commands.options import default_state, state_option
from gillhouse.store import JOURNAL
from gillhouse.store.erase import erase
from gillhouse.store.reader import Reader

KEYS = ("name", "phone", "to", "logins")
"""Of a person in farm.yaml: what says who they are and how they are reached."""


@click.command()
@click.option("--erase", "name", default=None, metavar="NAME",
              help="Take this person out of the journal for good. Stop the daemon first.")  # fmt: skip
@click.option("--yes", is_flag=True, help="Do not ask first.")
@state_option
def command(name: str | None, yes: bool, state_dir: Path | None) -> None:
    """List what the journal keeps of people, or take one of them out.

    The log says who did what by a number; the name behind the number stands beside it and can be erased.
    The log stays whole, and `gillhouse verify` still proves it. What somebody wrote in the words of a note
    stays: do not write names there.

    \b
    Example: gillhouse personal
             gillhouse personal --erase ana
    """
    journal = (state_dir or default_state()) / JOURNAL
    with Reader(journal) as reader:
        if name is None:
            click.echo("\n".join(_listed(reader)))
            return
        person = _person(reader, name)
    if not yes:
        click.confirm(f"Take {name} out of {journal} for good? This cannot be undone", abort=True)
    done = erase(journal, name, person, SystemClock().now().wall_ms)
    click.echo(
        f"{name} is erased: the log says former-{done.number} from now on. {done.rows} older rows, "
        f"{done.messages} messages and {done.configs} stored configs were changed."
    )
    if done.notes:
        click.echo(f"{done.notes} rows have the name in their words; they are sealed and stay.")
    click.echo("Take them out of farm.yaml too, and of copies of the journal (`gillhouse backup`).")


def _listed(reader: Reader) -> Iterator[str]:
    yield "In the log, by number (what they did):"
    for known in reader.people():
        yield f"  ~{known.number}  {known.name}  {known.deeds} rows"
    yield "In the config in force (how they are reached):"
    for ident, kept in _people(_newest(reader)).items():
        said = "; ".join(f"{key} {text}" for key, text in _texts(kept))
        yield f"  {ident}  {said}"
    yield f"Messages kept, sent or not: {sum(1 for _ in reader.outbox(0, 1 << 48))}"


def _newest(reader: Reader) -> str:
    segment = reader.newest_segment()
    files = reader.config(segment.digest) if segment else None
    return (files or {}).get("farm.yaml", "")


def _people(farm: str) -> Mapping[str, Any]:
    try:
        found = yaml.safe_load(farm)
    except yaml.YAMLError:
        return {}
    people = found.get("people") if isinstance(found, dict) else None
    return people if isinstance(people, dict) else {}


def _texts(kept: object) -> Iterator[tuple[str, str]]:
    """(key, text) of what says who somebody is, anywhere in their part of the config."""
    if isinstance(kept, list):
        for one in kept:
            yield from _texts(one)
    if isinstance(kept, dict):
        for key, value in kept.items():
            if key in KEYS and isinstance(value, str | int):
                yield key, str(value)
            elif key in KEYS and isinstance(value, list):
                yield from ((key, str(one)) for one in value)
            else:
                yield from _texts(value)


STAND_INS = {
    "to": "erased-{n}@example.invalid",
    "phone": "+10000000000",
    "logins": "erased{n}",
    "name": "Erased {n}",
    "id": "former-{n}",
}
"""What stands for an erased text in stored configs: sound, so that its nights can be replayed."""


def _person(reader: Reader, name: str) -> dict[str, str]:
    """All texts of a person in any stored config, with what shall stand in their place."""
    found: dict[str, str] = {}
    for farm in reader.farm_files():
        for ident, kept in _people(farm).items():
            texts = list(_texts(kept))
            if name == str(ident) or any(name == text for key, text in texts if key in ("name", "logins")):
                found |= {text: STAND_INS[key] for key, text in [("id", str(ident)), *texts]}
    return found
