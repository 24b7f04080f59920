"""Options that several commands share, and where a farm's files are."""

import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])

MACHINE_STATE = Path("/var/lib/gillhouse")
"""Where the installed service keeps its journal."""
CONFIG_NAMES = (Path("farm.yaml"), Path("/etc/gillhouse/farm.yaml"))


def default_config() -> Path:
    """`farm.yaml` here, else the machine's, else the shipped example."""
    from gillhouse.config import shipped_dir

    for name in CONFIG_NAMES:
        if name.exists():
            return name
    return shipped_dir() / "farm.yaml"


def default_state() -> Path:
    """systemd's state directory, else the user's own, else the installed service's where it may be read."""
    given = os.environ.get("STATE_DIRECTORY")
    if given:
        return Path(given.split(":")[0])
    base = os.environ.get("XDG_STATE_HOME")
    own = (Path(base) if base else Path.home() / ".local" / "state") / "gillhouse"
    return MACHINE_STATE if not own.exists() and os.access(MACHINE_STATE, os.R_OK | os.X_OK) else own


def since(wall_ms: int) -> str:
    """A moment on this machine's clock, `Wed 04:19`."""
    return datetime.fromtimestamp(wall_ms / 1000).astimezone().strftime("%a %H:%M")


def config_option(function: F) -> F:
    return click.option(
        "--config",
        "config_path",
        type=click.Path(path_type=Path, dir_okay=False),
        default=None,
        help="Your farm.yaml. Default: ./farm.yaml, /etc/gillhouse/farm.yaml, or the shipped example.",
    )(function)


def out_option(function: F) -> F:
    return click.option(
        "--out",
        type=click.Path(path_type=Path, dir_okay=False),
        default=None,
        help="Write it to this file instead of the terminal.",
    )(function)


def state_option(function: F) -> F:
    return click.option(
        "--state",
        "state_dir",
        type=click.Path(path_type=Path, file_okay=False),
        default=None,
        help="Where the journal is kept. Default: systemd's state directory, ~/.local/state/gillhouse, or "
        "the installed service's.",
    )(function)
