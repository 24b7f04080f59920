"""What of a re-read config only a restart may bring: where relays hang, and what keeps them off.

Here: one question. A changed pin, topic or rule of safety is taken up with every relay let go first, not in
passing; so such a file is refused whole while the daemon runs, and says what to do.
"""

from dataclasses import replace

from gillhouse.config.whole import Config
from gillhouse.core.settings import RelaySettings

RULES = (
    "own_timer", "never_with", "only_door_closed", "not_with_people", "tank", "proofs", "only_with", "master",
    "mains", "role",
)  # fmt: skip
"""Keys of a relay that keep it off."""


def needs_restart(old: Config, new: Config) -> tuple[str, ...]:
    """Whole sentences, one for each relay that hangs elsewhere or is kept off by other rules; none: none."""
    found = []
    for relay, wire in new.relay_wires.items():
        before = old.relay_wires.get(relay)
        if before is not None and replace(before, advise_only=wire.advise_only) != wire:
            found.append(f"relays.{relay}: hangs elsewhere or is told otherwise; restart gillhouse for it")
    for relay, settings in new.farm.relays.items():
        changed = _changed(old.farm.relays.get(relay), settings)
        if changed:
            found.append(f"relays.{relay}: other {', '.join(changed)}; restart gillhouse for it")
    return tuple(found)


def _changed(before: RelaySettings | None, after: RelaySettings) -> list[str]:
    if before is None:
        return []
    return [name for name in RULES if getattr(before, name) != getattr(after, name)]
