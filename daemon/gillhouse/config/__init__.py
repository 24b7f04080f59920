"""YAML files -> one frozen `Config`, or every mistake at once.

A mistake reads `file:line:column: key: what is wrong, what to do`.

`loaded` tells the way through. Not here: reading a secret (the part that needs it does, when it needs it).
"""

from gillhouse.config.loaded import Config, digest_of, load, load_files
from gillhouse.config.places import shipped_dir

__all__ = ["Config", "digest_of", "load", "load_files", "shipped_dir"]
