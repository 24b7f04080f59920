"""The shipped example farm, made a trial's: what most tests here are about."""

from pathlib import Path

from gillhouse.config import Config, load, shipped_dir
from gillhouse.sim import farm_copy


def trial_config(folder: Path, port: int = 1) -> Config:
    """The shipped farm as a trial's config in `folder`, for a broker on `port`."""
    return farm_copy.trial_config(load(shipped_dir() / "farm.yaml").files, folder, port)
