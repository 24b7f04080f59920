"""`gillhouse night`: what a night was like, as text, a page, or JSON."""

from collections.abc import Callable
from datetime import UTC, datetime, tzinfo
from pathlib import Path

import click

from gillhouse.audit.evidence import config_at
from gillhouse.audit.html import as_html
from gillhouse.audit.night import AuditError, Night, Window
from gillhouse.audit.record import as_json
from gillhouse.audit.report import last_window, night_of, window_of
from gillhouse.audit.text import as_text
from gillhouse.clock import SystemClock
from gillhouse.commands.options import default_state, out_option, state_option
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

FORMATS: dict[str, Callable[[Night], str]] = {"text": as_text, "html": as_html, "json": as_json}


@click.command()
@click.option(
    "--date",
    "evening",
    type=click.DateTime(["%Y-%m-%d"]),
    default=None,
    help="The night that begins in the evening of this date. Default: last night.",
)
@click.option(
    "--from",
    "begin",
    metavar="TIME",
    default=None,
    help="Any other time instead, such as 2026-10-14T20:00, on the farm's clock.",
)
@click.option("--to", "end", metavar="TIME", default=None, help="Where that ends.")
@click.option("--space", "spaces", multiple=True, help="Only this space; may be given again.")
@click.option("--format", "form", type=click.Choice(list(FORMATS)), default="text", show_default=True)
@out_option
@state_option
def command(  # noqa: PLR0913  one argument an option
    evening: datetime | None,
    begin: str | None,
    end: str | None,
    spaces: tuple[str, ...],
    form: str,
    out: Path | None,
    state_dir: Path | None,
) -> None:
    """Tell a night: what each space was like, why, and what to do first.

    Example: gillhouse night --format html --out night.html
    """
    if (begin is None) != (end is None):
        raise click.UsageError("--from and --to belong together: give both, or --date, or neither")
    if begin is not None and evening is not None:
        raise click.UsageError(
            "--date names a whole night, --from and --to any other time: give one or the other"
        )
    now_ms = SystemClock().now().wall_ms
    with Reader((state_dir or default_state()) / JOURNAL) as reader:
        if begin is not None and end is not None:
            window = between(begin, end, config_at(reader, now_ms).farm.zone)
        elif evening is not None:
            window = window_of(config_at(reader, now_ms), evening.date())
        else:
            window = last_window(reader, now_ms)
        text = FORMATS[form](night_of(reader, window, now_ms, spaces))
    if out is None:
        click.echo(text, nl=False)
        return
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise AuditError(f"cannot write {out}: {error.strerror}; name another file with --out") from error
    click.echo(f"written to {out}")


def between(begin: str, end: str, zone: tzinfo) -> Window:
    """The window of two times as a person types them.

    Raises:
        click.BadParameter: not a time, or the end is not after the begin.
    """
    window = Window(moment_ms(begin, zone, "--from"), moment_ms(end, zone, "--to"), zone)
    if window.lasts_ms <= 0:
        raise click.BadParameter(f"{end} is not after {begin}: put the later time last", param_hint="--to")
    return window


def moment_ms(text: str, zone: tzinfo, option: str) -> int:
    """A time on the farm's clock (or with its own offset), as wall milliseconds."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise click.BadParameter(
            f"{text!r} is not a time: write it like 2026-10-14T20:00", param_hint=option
        ) from error
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    return int(moment.astimezone(UTC).timestamp() * 1000)
