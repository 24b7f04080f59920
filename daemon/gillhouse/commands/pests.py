"""`gillhouse pests`: which flies may be there when, wet caps, warmth for moulds; writing down what you see.

Here: the words of the command line. Not here: any reckoning (`pests_asked` and `ahead`).
"""

import json
from pathlib import Path

import click

from gillhouse.ahead.diary import Caught, Entry, Larvae, Seen, written
from gillhouse.ahead.forecast import ForecastError, forecast
from gillhouse.ahead.mesh import WANTED_MM, WANTED_SOURCE, keeps_out, opening_mm
from gillhouse.ahead.moulds import NEAR_M, NEAR_PCT, SETTLE_MIN, SETTLE_SOURCE, SETTLED_PCT
from gillhouse.ahead.pests import Pest, PestStage
from gillhouse.ahead.traps import Catch
from gillhouse.audit.pests_asked import Asked, Outlook, outlook
from gillhouse.audit.pests_log import standing_in
from gillhouse.audit.pests_told import as_json, chart, lines
from gillhouse.clock import SystemClock
from gillhouse.commands.batch_dates import happened, to_come, zone_of
from gillhouse.commands.options import config_option, default_config, default_state, state_option
from gillhouse.commands.people import recorded, refusals, send
from gillhouse.config import Config
from gillhouse.config.nearest import choices
from gillhouse.config.pests_file import load_pests
from gillhouse.core.inputs import Act
from gillhouse.core.settings import Role
from gillhouse.drawing import windows as calendar
from gillhouse.errors import GillhouseError
from gillhouse.record import config_of
from gillhouse.records.batch_book import Book, book, books
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

STAGES = click.Choice(["adult", "egg", "larva", "pupa"])
MOST_WORDS = 300
HELD = (Role.MIST, Role.FAN, Role.CIRCULATION)
"""What would carry spores about while a patch is treated."""

on_option = click.option("--on", help="When: 2026-11-20, or '2026-11-20 18:30'. Without it: now.")
words_option = click.option("--words", default="", help="Anything to remember with it.")


@click.group(invoke_without_command=True)
@click.option("--space", help="One space. Without it: each with a batch or a sighting.")
@click.option("--batch", help="One batch, wherever it stood.")
@click.option("--pest", "only", help="One pest, as sciarid. Without it: those of the crop, and any seen.")
@click.option("--opened", help="When the space or the bags were opened, where no batch says it: 2026-11-20.")
@click.option("--until", help="When you plan to be done, 2026-12-20. Without it: the species' usual days.")
@click.option("--forecast", "forecast_file", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              help="A CSV with the columns time and temp_c, for the days to come.")  # fmt: skip
@click.option("--advice", "with_advice", is_flag=True, help="Also what can be done, with its sources.")
@click.option("--svg", type=click.Path(dir_okay=False, path_type=Path), help="Write the calendar here.")
@click.option("--json", "as_data", is_flag=True, help="For another program.")
@config_option
@state_option
@click.pass_context
def command(  # noqa: PLR0913  one argument an option
    context: click.Context,
    space: str | None,
    batch: str | None,
    only: str | None,
    opened: str | None,
    until: str | None,
    forecast_file: Path | None,
    with_advice: bool,
    svg: Path | None,
    as_data: bool,
    config_path: Path | None,
    state_dir: Path | None,
) -> None:
    """Which flies may be there when, by the temperatures your blocks had; wet caps; warmth for moulds.

    Windows, not dates: from a first sighting, a card that caught something, or the day a space was opened.
    Days to come go by your forecast, then by the mean of the last week.

    \b
    Example: gillhouse pests --batch OY-7 --advice
             gillhouse pests --space barn --opened 2026-10-01 --svg barn.svg
             gillhouse pests count barn sciarid 14 --cards 2 --days 7
    """
    if context.invoked_subcommand is not None:
        return
    state = state_dir or default_state()
    pests = load_pests((config_path or default_config()).parent)
    if only is not None and only not in pests:
        raise click.ClickException(f"there is no pest {only!r}; {choices(only, set(pests))}")
    if space and batch:
        raise click.UsageError("name a space or a batch, not both")
    opened_ms, until_ms, zone = happened(opened, state), to_come(until, state), zone_of(state)
    if opened_ms is not None and until_ms is not None and until_ms <= opened_ms:
        raise click.UsageError(f"--until {until} is not after --opened {opened}")
    ahead = _forecast(forecast_file, state)
    with Reader(state / JOURNAL) as reader:
        config, known = config_of(reader, state / JOURNAL), books(reader)
        now_ms = SystemClock().now().wall_ms
        found = [
            outlook(reader, config, pests, known, Asked(one, of, opened_ms, until_ms, now_ms, ahead, only))
            for one, of in _wanted(reader, config, known, (space, batch))
        ]
    if svg is not None:
        _write_chart(svg, found, state)
    if as_data:
        click.echo(json.dumps([as_json(one) for one in found], indent=1))
        return
    click.echo("\n\n".join("\n".join(map(_wrapped, lines(one, zone, with_advice))) for one in found))


def _wrapped(line: str) -> str:
    """A long line over several, indented as it is and a little more."""
    indent = line[: len(line) - len(line.lstrip())]
    return click.wrap_text(line.strip(), 100, indent, f"{indent}  ") if line.strip() else ""


def _forecast(path: Path | None, state: Path) -> dict[int, float]:
    if path is None:
        return {}
    try:
        text = path.read_text(encoding="utf-8-sig")
        return forecast(text.splitlines(), str(path), zone_of(state))
    except (OSError, UnicodeDecodeError) as error:
        raise click.ClickException(f"{path} cannot be read ({error}); is it a CSV?") from error
    except ForecastError as error:
        raise click.ClickException(str(error)) from error


def _wanted(
    reader: Reader, config: Config, known: list[Book], named: tuple[str | None, str | None]
) -> list[tuple[str, Book | None]]:
    """The spaces (or the batch) to look at."""
    space, batch = named
    if batch is not None:
        one = book(reader, batch)
        if one is None:
            raise click.ClickException(
                f"the log knows no batch {batch!r}; {choices(batch, {each.batch for each in known})}"
            )
        return [(one.places[-1].space, one)]
    if space is not None:
        _check_space(config, space)
        return [(space, None)]
    now_ms = SystemClock().now().wall_ms
    found: list[tuple[str, Book | None]] = [
        (one, None) for one in config.farm.spaces if standing_in(known, one, now_ms)
    ]
    if not found:
        raise click.ClickException(
            "no batch stands anywhere; name a space with --space, and since when it is open with --opened"
        )
    return found


def _check_space(config: Config, space: str) -> None:
    if space not in config.farm.spaces:
        raise click.ClickException(f"there is no space {space!r}; {choices(space, set(config.farm.spaces))}")


def _write_chart(path: Path, found: list[Outlook], state: Path) -> None:
    if len(found) != 1:
        raise click.UsageError("a chart is of one space or batch: name it with --space or --batch")
    try:
        path.write_text(calendar.draw(chart(found[0], zone_of(state))) + "\n", encoding="utf-8")
    except OSError as error:
        raise GillhouseError(f"{path} cannot be written ({error.strerror}); name another file") from error


# --- writing down --------------------------------------------------------------------------------------


@command.command()
@click.argument("space")
@click.argument("pest")
@click.option("--stage", type=STAGES, default="adult", show_default=True)
@on_option
@words_option
@config_option
@state_option
def seen(  # noqa: PLR0913  one argument an option
    space: str, pest: str, stage: str, on: str | None, words: str, config_path: Path | None,
    state_dir: Path | None,
) -> None:  # fmt: skip
    """You saw some: kept as a note, with your name and the time.

    Example: gillhouse pests seen barn sciarid --on 2026-11-20 --words "by the door"
    """
    state = state_dir or default_state()
    one = _known(pest, config_path)
    _note(state, space, Seen(one.id, _when(on, state), PestStage(stage), words), f"{one.name} seen")


@command.command(context_settings={"ignore_unknown_options": True})
@click.argument("space")
@click.argument("pest")
@click.argument("number", type=int)
@click.option("--cards", type=int, default=1, show_default=True, help="Sticky cards or traps together.")
@click.option("--days", type=float, default=7.0, show_default=True, help="They hung since the last count.")
@click.option("--larvae", is_flag=True, help="Larvae in 125 g of casing or substrate, no cards.")
@on_option
@words_option
@config_option
@state_option
def count(  # noqa: PLR0913  one argument an option
    space: str, pest: str, number: int, cards: int, days: float, larvae: bool, on: str | None, words: str,
    config_path: Path | None, state_dir: Path | None,
) -> None:  # fmt: skip
    """You counted: NUMBER on sticky cards, or larvae; 0 counts too. Kept as a note.

    Example: gillhouse pests count barn sciarid 14 --cards 2 --days 7
    """
    state = state_dir or default_state()
    one, at_ms = _known(pest, config_path), _when(on, state)
    entry: Entry = Larvae(one.id, at_ms, number, words)
    if not larvae:
        entry = Caught(one.id, Catch(at_ms, number, cards, days), words)
    what = "larvae" if larvae else one.name
    _note(state, space, entry, f"{number} {what} counted")


def _known(ident: str, config_path: Path | None) -> Pest:
    pests = load_pests((config_path or default_config()).parent)
    if ident not in pests:
        raise click.ClickException(f"there is no pest {ident!r}; {choices(ident, set(pests))}")
    return pests[ident]


def _when(on: str | None, state: Path) -> int:
    """When it was seen: to the minute, as it is written down."""
    now_ms = SystemClock().now().wall_ms
    given = happened(on, state)
    at_ms = now_ms if given is None else given
    if at_ms > now_ms:
        raise click.ClickException(f"{on} is still to come; say when you saw it")
    return at_ms - at_ms % 60_000


def _note(state: Path, space: str, entry: Entry, said: str) -> None:
    with Reader(state / JOURNAL) as reader:
        _check_space(config_of(reader, state / JOURNAL), space)
        gone = _gone(reader, space, entry.at_ms)
    if len(entry.words) > MOST_WORDS:
        raise click.ClickException(f"{len(entry.words)} letters of words; {MOST_WORDS} at most")
    try:
        text = written(entry, zone_of(state))
    except ValueError as error:
        raise click.ClickException(str(error)) from error
    what = recorded(state, Act.NOTE, space, text)
    if what.refused:
        raise click.ClickException(f"nothing was changed: {what.refused[0]}")
    number = "" if what.number is None else f" (number {what.number})"
    click.echo(f"noted for {space}: {said}{number}{gone}")


def _gone(reader: Reader, space: str, at_ms: int) -> str:
    """What is said where no batch stood there then."""
    known = books(reader)
    if not known or standing_in(known, space, at_ms):
        return ""
    return "; no batch stood there then, so it counts for the space alone"


# --- treating a patch ----------------------------------------------------------------------------------


@command.command()
@click.argument("space")
@click.option("--why", default="treating a patch", show_default=True, help="Written into the night.")
@state_option
def treat(space: str, why: str, state_dir: Path | None) -> None:
    """Hold mist and fans of SPACE still for 15 minutes while you treat a patch of cobweb.

    Touched dry, its spores fly; after 15 minutes nearly all have settled. Lay damp paper over the patch
    first. Go out meanwhile: no fresh air comes in. What protects people goes before this.

    Example: gillhouse pests treat room
    """
    state = state_dir or default_state()
    with Reader(state / JOURNAL) as reader:
        config = config_of(reader, state / JOURNAL)
    _check_space(config, space)
    relays = [one.id for one in config.farm.relays.values() if one.space == space and one.role in HELD]
    if not relays:
        raise click.ClickException(f"{space} has no mist or fan of its own to hold")
    for relay in relays:
        outcome = send(state, Act.OVERRIDE, relay, text=why, on=False, for_ms=SETTLE_MIN * 60_000)
        told = [words for subject, words in refusals(outcome) if subject == relay]
        held = f"{SETTLE_MIN} min, then by itself again"
        click.echo(
            f"{relay}: not off now, {told[0]}; off after that, {held}" if told else f"{relay} off for {held}"
        )
    click.echo(
        f"spores: {SETTLED_PCT[0]}-{SETTLED_PCT[1]} % settle within {SETTLE_MIN} min; with fans off"
        f" {NEAR_PCT} % come down within {NEAR_M:g} m [{SETTLE_SOURCE}]"
    )


# --- a mesh --------------------------------------------------------------------------------------------


@command.command()
@click.argument("threads_per_cm", type=click.FloatRange(1, 100))
@click.argument("thread_mm", type=click.FloatRange(0.01, 5))
def mesh(threads_per_cm: float, thread_mm: float) -> None:
    """Whether a mesh keeps flies out, by its THREADS_PER_CM and how thick one is, THREAD_MM.

    Example: gillhouse pests mesh 16 0.18
    """
    opening = opening_mm(threads_per_cm, thread_mm)
    verdict = "keeps flies out" if keeps_out(opening) else "is too open for flies"
    click.echo(
        f"openings of {opening:.2f} mm: {verdict}; {WANTED_MM:g} mm or less is wanted [{WANTED_SOURCE}]"
    )
    click.echo(
        "a finer mesh costs air: give the inlet more area, and look whether the fan still brings its changes"
    )
