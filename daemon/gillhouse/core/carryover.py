"""What is left of the relays' states after a restart, or under new settings.

What lives here: `restart` and `resettle`. What must not: the rules of a round (see `interlock`). How:
whatever was timed on the old monotonic clock is dropped on the safe side; what limits a day or an hour is
kept.
"""

from collections.abc import Mapping

from gillhouse.core.asks import RelayState
from gillhouse.core.bars import HOUR_MS
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import FarmSettings


def restart(now: Instant, settings: FarmSettings, states: Mapping[str, RelayState]) -> dict[str, RelayState]:
    """What is left of the relays' states after the daemon began again.

    Everything is off since now: the least off time begins anew, whatever really happened. The last hour's
    starts and the days' litres are kept by wall time, so that a restart gets round no limit. What was running
    or resting against a longest run rests once. Locked relays stay locked.
    """
    fresh = {}
    for relay in settings.relays.values():
        old = states.get(relay.id)
        fresh[relay.id] = state = RelayState(since_mono_ms=now.mono_ms)
        if old is None:
            continue
        ages = [max(0, now.wall_ms - start.wall_ms) for start in old.starts]
        state.starts = [Instant(now.wall_ms - age, now.mono_ms - age) for age in ages if age < HOUR_MS]
        state.litres, state.locked = dict(old.litres), old.locked
        if old.rest_until is not None or (old.on and relay.longest_run_ms is not None):
            # How long it has rested or run is no longer known: let it rest once.
            state.rest_until = now.mono_ms + relay.rest_after_longest_ms
    return fresh


def resettle(
    now: Instant, states: dict[str, RelayState], old: FarmSettings, new: FarmSettings
) -> tuple[Command, ...]:
    """Takes out of `states` what is gone or changed its advise-only; returns the OFF each one needs."""
    commands = []
    for relay in old.relays.values():
        state, kept = states.get(relay.id), new.relays.get(relay.id)
        if state is None or (kept is not None and kept.advise_only == relay.advise_only):
            continue
        if state.on:
            commands.append(
                Command(
                    relay.id,
                    False,
                    0,
                    Authority.INTERLOCK,
                    Reason.STARTING,
                    state.causes,
                    {},
                    advise=relay.advise_only,
                )
            )
        del states[relay.id]
        if kept is not None:
            states[relay.id] = RelayState(since_mono_ms=now.mono_ms, litres=state.litres, starts=state.starts)
    return tuple(commands)
