"""The shipped example farm, made a trial's: what most tests here are about."""

from pathlib import Path

from gillhouse.config import Config, load, shipped_dir
from gillhouse.sim.farm_copy import write_trial


def trial_config(folder: Path, port: int = 1) -> Config:
    """The shipped farm as a trial's config in `folder`, for a broker on `port`."""
    return load(write_trial(load(shipped_dir() / "farm.yaml").files, port, folder))
