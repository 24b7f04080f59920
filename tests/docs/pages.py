"""The pages a reader may open, and the command lines in them."""

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

ROOT = Path(__file__).parents[2]
OPERATORS = {"&&", "||", "|", ";", ">", ">>", "<", "&"}
SPAN = re.compile(r"`([^`]+)`")
FENCE = re.compile(r"^ *(```|~~~)")


def pages() -> list[Path]:
    """Every page, the two at the top and all under docs/."""
    return [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]


def name(page: Path) -> str:
    return page.relative_to(ROOT).as_posix()


@dataclass(frozen=True)
class Example:
    """One call of the program, as a page shows it."""

    where: str
    words: tuple[str, ...]
    """After `gillhouse`."""
    is_name: bool = False
    """A command's name in running text, such as `gillhouse why`: no call, so it needs no arguments."""

    def __str__(self) -> str:
        return f"{self.where}: gillhouse {' '.join(self.words)}"


def examples(where: str, text: str) -> Iterator[Example]:
    """The calls in a page: in its code blocks line by line, and in its `spans`, also over a line end."""
    prose = []
    fenced = False
    for line in text.splitlines():
        if FENCE.match(line):
            fenced = not fenced
        elif fenced or line.startswith("    "):
            yield from calls(where, line.strip())
        prose.append("" if fenced or FENCE.match(line) else line)
    for paragraph in re.split(r"\n\s*\n", "\n".join(prose)):
        for span in SPAN.findall(paragraph):
            for one in calls(where, " ".join(span.split())):
                yield replace(one, is_name=len(one.words) == 1)


def calls(where: str, line: str) -> Iterator[Example]:
    """The calls of `gillhouse` in one shell line."""
    try:
        words = shlex.split(line.replace(";", " ; "), comments=True)
    except ValueError:  # an apostrophe: no shell line
        return
    command: list[str] = []
    for word in (*words, ";"):
        if word in OPERATORS:
            yield from _call(where, command)
            command = []
        else:
            command.append(word)


def _call(where: str, command: list[str]) -> Iterator[Example]:
    words = command[1:] if command[:1] == ["$"] else command
    if words[:1] == ["sudo"]:
        words = words[3:] if words[1:2] == ["-u"] else words[1:]
    if words and Path(words[0]).name == "gillhouse" and not words[0].endswith("/"):
        yield Example(where, tuple(words[1:]))
