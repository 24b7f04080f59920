"""The page of commands says what `--help` says.

python tests/docs/test_commands_page.py     writes it anew below its marker
"""

import os
import subprocess
import sys
from pathlib import Path

import click

from gillhouse.__main__ import COMMANDS, cli

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "commands.md"
BEGIN = "<!-- below: made by tests/docs/test_commands_page.py, do not edit -->"


def help_of(*name: str) -> str:
    """A command's help as a terminal shows it. In a process of its own: click keeps what it once made."""
    as_typed = "from gillhouse.__main__ import cli; cli(prog_name='gillhouse')"
    done = subprocess.run(
        [sys.executable, "-c", as_typed, *name, "--help"],
        env={**os.environ, "COLUMNS": "100"}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return "\n".join(line.rstrip() for line in done.stdout.rstrip().splitlines())


def inner_of(name: str) -> list[str]:
    """The commands within a command; most have none."""
    command = cli.get_command(click.Context(cli), name)
    return list(command.commands) if isinstance(command, click.Group) else []


def renewed(page: str) -> str:
    """`page` with all below its marker made anew."""
    head, _, _ = page.partition(BEGIN)
    parts = [head + BEGIN]
    for name, (_, purpose) in COMMANDS.items():
        parts.append(f"## {name}\n\n{purpose}.\n\n```text\n{help_of(name)}\n```")
        parts += [f"### {name} {inner}\n\n```text\n{help_of(name, inner)}\n```" for inner in inner_of(name)]
    return "\n\n".join(parts) + "\n"


def test_the_page_is_current_and_names_every_command() -> None:
    page = PAGE.read_text(encoding="utf-8")
    assert page.count(BEGIN) == 1
    assert renewed(page) == page, "run: python tests/docs/test_commands_page.py"
    assert [line for line in page.splitlines() if line.startswith("## ")] == [f"## {one}" for one in COMMANDS]


if __name__ == "__main__":
    PAGE.write_text(renewed(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
