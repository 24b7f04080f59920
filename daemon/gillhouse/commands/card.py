"""`gillhouse card`: one page to print for a helper: what a call means, what to do, whom to ring."""

from collections.abc import Callable
from pathlib import Path

import click

from gillhouse.alerts import card as cards
from gillhouse.clock import SystemClock
from gillhouse.commands.options import config_option, default_config, out_option
from gillhouse.config import load

FORMATS: dict[str, Callable[[cards.Card], str]] = {"text": cards.text, "html": cards.page}


@click.command()
@config_option
@click.option("--format", "form", type=click.Choice(list(FORMATS)), default="text", show_default=True)
@out_option
def command(config_path: Path | None, form: str, out: Path | None) -> None:
    """Write the helper card: each call that can come, what to do first, whom to ring, where things shut off.

    It holds telephone numbers. Print it again after every change of the config.

    Example: gillhouse card --format html --out helper-card.html
    """
    shown = cards.card(load(config_path or default_config()), SystemClock().now().wall_ms)
    words = FORMATS[form](shown)
    if out is None:
        click.echo(words, nl=False)
        return
    try:
        out.write_text(words, encoding="utf-8")
    except OSError as error:
        raise click.ClickException(f"cannot write {out}: {error.strerror}; name another file") from error
    click.echo(f"written to {out}; print it, and hang it up where the box is")
