"""YAML files -> one frozen `Config`, or every mistake at once.

A mistake reads `file:line:column: key: what is wrong, what to do`.

`loaded` tells the way through; it and what it stands on are imported when something is read, since they weigh
more than all the rest of the daemon's own code. Not here: reading a secret (the part that needs it does, when
it needs it).
"""

from collections.abc import Mapping
from pathlib import Path

from gillhouse.config.places import shipped_dir
from gillhouse.config.whole import Config

__all__ = ["Config", "digest_of", "load", "load_apart", "load_files", "shipped_dir"]


def load(path: Path) -> Config:
    """See `loaded.load`."""
    from gillhouse.config import loaded

    return loaded.load(path)


def load_files(files: Mapping[str, str], path: Path = Path("farm.yaml")) -> Config:
    """See `loaded.load_files`."""
    from gillhouse.config import loaded

    return loaded.load_files(files, path)


def digest_of(files: Mapping[str, str]) -> str:
    """See `loaded.digest_of`."""
    from gillhouse.config import loaded

    return loaded.digest_of(files)


def load_apart(path: Path) -> Config:
    """As `load`, in a process of its own that ends: what reading needs stays out of a daemon's memory."""
    from gillhouse.config.apart import ask

    return ask(path)
