"""`gillhouse verify`: does the log's chain hold? Exit code 1 where it does not."""

from pathlib import Path

import click

from gillhouse.commands.options import default_state, state_option
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader
from gillhouse.store.verify import Checked
from gillhouse.store.verify_hours import said


@click.command()
@click.option(
    "--head",
    default=None,
    help="A seal kept elsewhere, as each morning report has one: finds a log that was cut off or made anew.",
)
@state_option
@click.pass_context
def command(context: click.Context, head: str | None, state_dir: Path | None) -> None:
    """Prove that nothing in the log was changed, removed or put in.

    Each row of the log is sealed together with the one before it, and each hour's readings with them. What
    does not fit is listed in order of time, and the exit code is 1. Works beside a running daemon.

    A log whose end was cut off, or that was made anew whole, still fits itself: only a seal that was kept
    elsewhere finds that. Every morning report ends with one.

    \b
    Example: gillhouse verify
             gillhouse verify --head 48211-3fa90c6f1d22b7e08c5a41990d7e6b13
    """
    with Reader((state_dir or default_state()) / JOURNAL) as reader:
        try:
            checked = reader.verify(head)
        except ValueError as error:
            raise click.UsageError(str(error)) from error
    for finding in checked.findings:
        click.echo(f"{said(finding.ts)}  {finding.what}")
    click.echo(_summary(checked, head))
    context.exit(1 if checked.findings else 0)


def _summary(checked: Checked, head: str | None) -> str:
    if checked.begins_ms is None and not checked.rows:
        return "no chain yet: it begins when the daemon of this version first writes"
    begins = "" if checked.begins_ms is None else f" since {said(checked.begins_ms)}"
    found = len(checked.findings)
    lines = [
        f"{checked.rows} rows and the readings of {checked.hours} hours looked at{begins}: "
        + ("nothing was changed, removed or put in" if not found else f"{found} things do not fit")
    ]
    if head is not None and not found:
        lines.append("the seal you gave is a row of this log")
    if checked.late:
        lines.append(f"{checked.late} hours were sealed again, because readings for them came in late")
    if checked.older:
        lines.append(f"{checked.older} rows are older than the chain: nobody can vouch for those")
    if checked.head is not None:
        lines.append(f"newest seal {checked.head}")
    return "\n".join(lines)
