"""Every command a page shows exists and takes what it is shown with; every link leads somewhere.

The command lines are read with click's own parser, the one that will read what is typed. Nothing is run.
"""

import re
from pathlib import Path

import click
import pytest

from docs.pages import ROOT, Example, examples, name, pages
from gillhouse.__main__ import COMMANDS, cli

LINK = re.compile(r"\]\(([^)\s]+)\)")
HEADING = re.compile(r"^#+ (.+)$", re.MULTILINE)
PLACEHOLDER = re.compile(r"^[A-Z_]+$|^\.\.\.$")


def mistake(example: Example) -> str | None:
    """What is wrong with a call, or None."""
    if not example.words or example.words[0] in ("--help", "-h", "--version"):
        return None
    context = click.Context(cli, info_name="gillhouse")
    spoken = example.words
    if spoken[0] == "--who" and len(spoken) > 2:
        spoken = spoken[2:]  # who gives it; any command may be told
    command = cli.get_command(context, spoken[0])
    if command is None:
        return f"there is no command {spoken[0]!r}"
    if example.is_name:
        return None
    own, words = click.Context(command, info_name=command.name), list(spoken[1:])
    while isinstance(command, click.Group) and words:
        if command.invoke_without_command and words[0].startswith("-"):
            break  # it does something by itself, with options of its own
        inner = command.get_command(own, words[0])
        if inner is None:
            return f"{command.name} has no {words[0]!r}"
        command, own, words = inner, click.Context(inner, info_name=inner.name), words[1:]
        if not words:
            return None  # the words of a heading or a sentence
    try:
        given, left, _ = command.make_parser(own).parse_args(words)
        if left:
            return f"takes no {left!r}"
        for param in command.get_params(own):
            _convert(own, param, given.get(str(param.name)))
    except click.UsageError as error:
        return error.format_message()
    return None


def _convert(context: click.Context, param: click.Parameter, value: object) -> None:
    """Raises where a value is missing or of no use; files need not exist here."""
    said = isinstance(value, str)
    if isinstance(param, click.Argument) and param.required and not said:
        raise click.MissingParameter(ctx=context, param=param)
    if isinstance(value, str) and not isinstance(param.type, click.Path) and not PLACEHOLDER.match(value):
        param.type.convert(value, param, context)


@pytest.mark.parametrize("page", pages(), ids=name)
def test_every_command_shown_is_one_that_works(page: Path) -> None:
    found = examples(name(page), page.read_text(encoding="utf-8"))
    assert [f"{one}: {wrong}" for one in found if (wrong := mistake(one))] == []


def test_the_examples_in_the_help_are_ones_that_work() -> None:
    context = click.Context(cli)
    for command in COMMANDS:
        found = cli.get_command(context, command)
        assert found is not None
        shown = re.findall(r"Example: (.+)", found.help or "")
        for line in shown:
            (one,) = examples(command, f"    {line}")
            assert mistake(one) is None, str(one)


def test_examples_are_found_and_mistakes_are_seen() -> None:
    page = """\
Say `gillhouse now`, or `gillhouse
nigth`, never `gillhouse/alive`, as user `gillhouse`.

    $ sudo -u gillhouse .venv/bin/gillhouse why tent-mist  # no time
    sh x.sh && gillhouse demo --hours 99 | head
    chown gillhouse: /var

```
gillhouse ack --loud
gillhouse night --format html --out n.html
gillhouse override fan maybe
```
"""
    found = list(examples("page", page))
    assert [one.words[:1] for one in found] == [
        ("why",), ("demo",), ("ack",), ("night",), ("override",), ("now",), ("nigth",), (),
    ]  # fmt: skip
    wrong = [mistake(one) is not None for one in found]
    assert wrong == [True, True, True, False, True, False, True, False]


def test_the_readme_shows_each_of_the_everyday_commands() -> None:
    shown = {
        one.words[0] for one in examples("", (ROOT / "README.md").read_text(encoding="utf-8")) if one.words
    }
    assert shown >= {"demo", "check", "listen", "run", "now", "night", "why", "note", "ack", "override"}


def anchor(heading: str) -> str:
    """What a heading is linked by (as the common web views of such pages make it)."""
    return re.sub(r"[^\w\- ]", "", heading.strip().lower()).replace(" ", "-")


def links(page: Path) -> list[str]:
    found: list[str] = LINK.findall(page.read_text(encoding="utf-8"))
    return [link for link in found if not re.match(r"[a-z]+:", link)]


@pytest.mark.parametrize("page", pages(), ids=name)
def test_every_link_leads_somewhere(page: Path) -> None:
    broken = []
    for link in links(page):
        path, _, wanted = link.partition("#")
        target = (page.parent / path).resolve() if path else page
        if not target.exists() or not target.is_relative_to(ROOT):
            broken.append(link)
        elif wanted:
            headings = HEADING.findall(target.read_text(encoding="utf-8"))
            if wanted not in [anchor(heading) for heading in headings]:
                broken.append(link)
    assert broken == []


def test_every_page_can_be_reached_from_the_readme() -> None:
    seen: set[Path] = set()
    ahead = [ROOT / "README.md"]
    while ahead:
        page = ahead.pop()
        if page in seen or page.suffix != ".md" or not page.exists():
            continue
        seen.add(page)
        ahead += [(page.parent / link.partition("#")[0]).resolve() for link in links(page)]
    assert [name(page) for page in pages() if page not in seen] == []
