"""What is left of the relays' states after a restart, or under new settings.

What lives here: `restart` and `resettle`. What must not: the rules of a round (see `interlock`). How:
whatever was timed on the old monotonic clock is dropped on the safe side; what limits a day or an hour is
kept.
"""

from collections.abc import Mapping

from gillhouse.core.asks import RelayState, Spell
from gillhouse.core.bars import HOUR_MS
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import FarmSettings, RelaySettings
from gillhouse.core.water import local_day


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
        state.litres, state.locked, state.by_proof = dict(old.litres), old.locked, old.by_proof
        state.on_days, state.more_water = dict(old.on_days), dict(old.more_water)
        if old.on and relay.most_per_day_ms is not None:
            day = local_day(now, settings.zone)
            state.on_days[day] = state.on_days.get(day, 0) + _ran_ms(old)
        state.spells = _spells(now, relay, old)
        if old.rest_until is not None or (old.on and relay.longest_run_ms is not None):
            # How long it has rested or run is no longer known: let it rest once.
            state.rest_until = now.mono_ms + relay.rest_after_longest_ms
    return fresh


def _spells(now: Instant, relay: RelaySettings, old: RelayState) -> list[Spell]:
    """Runs of the last hour, told by the new clock. What still ran then counts to the end of its lease."""
    if relay.most_per_h_ms is None:
        return []
    found = []
    for spell in old.spells:
        age = max(0, now.wall_ms - spell.end.wall_ms)
        if age < HOUR_MS:
            found.append(Spell(Instant(now.wall_ms - age, now.mono_ms - age), spell.ms))
    if old.on:
        found.append(Spell(now, min(_ran_ms(old), HOUR_MS)))
    return found


def _ran_ms(old: RelayState) -> int:
    """How long what was on when it all stopped may have run: to the end of its lease."""
    return max((old.lease_end or old.since_mono_ms) - old.since_mono_ms, 0)


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
            states[relay.id] = RelayState(
                since_mono_ms=now.mono_ms,
                litres=state.litres,
                starts=state.starts,
                spells=state.spells,
                on_days=state.on_days,
                locked=state.locked,
                by_proof=state.by_proof,
            )
    return tuple(commands)
