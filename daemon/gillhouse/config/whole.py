"""What the grower's files say, as one frozen value. Reads no file, and needs nothing that reading needs."""

from dataclasses import dataclass
from pathlib import Path

from gillhouse.core.crops import Species
from gillhouse.core.edges import (
    AlertSettings,
    BrokerSettings,
    CardSettings,
    HeartbeatSettings,
    MirrorSettings,
    RateSettings,
    RelayWire,
    ReportSettings,
    SensorRoute,
    StoreSettings,
)
from gillhouse.core.settings import FarmSettings


@dataclass(frozen=True, slots=True)
class Config:
    """All that the grower's files say, checked and in canonical units."""

    path: Path
    """The farm file; what relative names in it are counted from stands beside it."""
    farm: FarmSettings
    broker: BrokerSettings
    routes: tuple[SensorRoute, ...]
    relay_wires: dict[str, RelayWire]
    store: StoreSettings
    mirror: MirrorSettings | None
    alerts: AlertSettings
    report: ReportSettings
    card: CardSettings
    heartbeat: HeartbeatSettings | None
    rates: RateSettings
    species: dict[str, Species]
    """All there is a file for: a batch may be of any of them."""
    files: dict[str, str]
    """Name -> text of every file this came from; `load_files(files)` gives the same settings again."""
    digest: str
    """sha256, in hex, of `files`."""
    warnings: tuple[str, ...]
