"""The lock of Python packages: every file that may be installed, by its hash. Needs nothing but Python.

    python3 deploy/lock.py pick demo,dev    what some extras need, for `pip install --require-hashes -r`
    python3 deploy/lock.py make             makes deploy/requirements.lock anew; needs `uv` (pip install uv)
    python3 deploy/lock.py make --upgrade   ... with the newest releases pyproject.toml allows

The lock holds every hash the index offers for a release, so that it serves each machine, and for each package
which extras it is `for`: `run` is the daemon itself, `build` is what building it needs.
"""

import re
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from pathlib import Path

TOP = Path(__file__).resolve().parents[1]
LOCK = TOP / "deploy" / "requirements.lock"
RUN, BUILD = "run", "build"
BUILD_NEEDS = ("hatchling", "editables", "setuptools", "wheel")
"""Installed first, by hash too, so that no build fetches anything by itself."""
ENTRY = re.compile(r"^(?P<name>[A-Za-z0-9._-]+)==")


def entries(text: str) -> Iterator[tuple[str, list[str]]]:
    """(name, its lines) of each package in a lock."""
    name, lines = "", []
    for line in text.splitlines():
        found = ENTRY.match(line)
        if found:
            if name:
                yield name, lines
            name, lines = found["name"].lower(), []
        if name:
            lines.append(line)
    if name:
        yield name, lines


def all_extras() -> list[str]:
    project = tomllib.loads((TOP / "pyproject.toml").read_text())["project"]
    return sorted(project["optional-dependencies"])


def wanted_for(lines: list[str]) -> set[str]:
    return {word for line in lines if "# for: " in line for word in line.split("# for: ")[1].split()}


def pick(extras: str) -> str:
    """The lock's part for the daemon and some extras; `build` alone is what building needs."""
    wanted = {BUILD} if extras == BUILD else {RUN, *filter(None, extras.split(","))}
    unknown = wanted - {RUN, BUILD, *all_extras()}
    if unknown:
        sys.exit(f"no such extra: {', '.join(sorted(unknown))}; there are {', '.join(all_extras())}")
    return "".join(
        "\n".join(line for line in lines if "# for: " not in line).rstrip() + "\n"
        for _, lines in entries(LOCK.read_text())
        if wanted_for(lines) & wanted
    )


def compiled(sources: list[Path], extras: list[str], constraint: Path) -> str:
    """What `uv` makes of some sources and extras, for every platform from Python 3.11 on."""
    command = ["uv", "pip", "compile", *map(str, sources), "--quiet", "--universal", "--python-version=3.11"]
    command += ["--no-header", "--no-annotate", "--generate-hashes", "--constraint", str(constraint)]
    command += [word for extra in extras for word in ("--extra", extra)]
    return subprocess.run(command, cwd=TOP, check=True, capture_output=True, text=True).stdout


def make(upgrade: bool) -> None:
    """Writes the lock: releases stay as they are unless `upgrade`."""
    project, extras = TOP / "pyproject.toml", all_extras()
    with tempfile.TemporaryDirectory() as folder:
        before, needs, pins = (Path(folder) / name for name in ("before.txt", "needs.txt", "pins.txt"))
        before.write_text("" if upgrade else "\n".join(_pins(LOCK.read_text())))
        needs.write_text("\n".join(BUILD_NEEDS))
        whole = compiled([project, needs], extras, before)
        pins.write_text("\n".join(_pins(whole)))
        sets = {RUN: compiled([project], [], pins), BUILD: compiled([needs], [], pins)}
        sets |= {extra: compiled([project], [extra], pins) for extra in extras}
        uses: dict[str, set[str]] = {}
        for use, text in sets.items():
            for name, _ in entries(text):
                uses.setdefault(name, set()).add(use)
        LOCK.write_text("".join(_written(name, lines, uses) for name, lines in entries(whole)))


def _pins(text: str) -> list[str]:
    """`name==version` lines with their markers, without hashes."""
    return [re.sub(r"\s*\\$", "", lines[0]).strip() for _, lines in entries(text)]


def _written(name: str, lines: list[str], uses: dict[str, set[str]]) -> str:
    return "\n".join([*lines, f"    # for: {' '.join(sorted(uses[name]))}"]) + "\n"


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["pick", extras]:
            sys.stdout.write(pick(extras))
        case ["make"]:
            make(upgrade=False)
        case ["make", "--upgrade"]:
            make(upgrade=True)
        case _:
            sys.exit(__doc__)
