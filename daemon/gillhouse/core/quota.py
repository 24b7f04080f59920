"""How long a relay may still be on, by the hour and by the local day, whoever asks.

Here: what was used, and what is left. Not here: deciding (see `bars`, `runs`). How: runs that are over are
kept for an hour (by the hour) and summed by local date (by the day), as the day's water is; both outlast a
restart, so that none gets round them. Time that counts is monotonic; only the date looks at the calendar.
"""

from datetime import tzinfo

from gillhouse.core.asks import RelayState, Spell
from gillhouse.core.instant import Instant
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import RelaySettings
from gillhouse.core.water import day_ends_ms, local_day, since_midnight_ms

HOUR_MS = 3_600_000
DAYS_KEPT = 3


def book(now: Instant, relay: RelaySettings, state: RelayState, zone: tzinfo) -> None:
    """Keeps the run that ends now. Call while `state.since_mono_ms` is still its begin."""
    ran_ms = max(now.mono_ms - state.since_mono_ms, 0)
    if relay.most_per_h_ms is not None:
        state.spells = [*_lately(now, state), Spell(now, ran_ms)]
    if relay.most_per_day_ms is not None:
        today = min(ran_ms, since_midnight_ms(now, zone))
        _add(state, local_day(now, zone), today)
        _add(state, local_day(now.later(-today - 1), zone), ran_ms - today)


def left_ms(now: Instant, relay: RelaySettings, state: RelayState, zone: tzinfo) -> int | None:
    """Milliseconds it may still be on if nothing of the last hour drops out; None where nothing limits it."""
    left = [most - used for most, used, _ in _limits(now, relay, state, zone)]
    return max(min(left), 0) if left else None


def frees_ms(now: Instant, relay: RelaySettings, state: RelayState, zone: tzinfo) -> int:
    """Monotonic time at which a limit that is reached lets go; call where `left_ms` is too little."""
    _, _, reason = min(_limits(now, relay, state, zone), key=lambda one: one[0] - one[1])
    if reason is Reason.DAY_USED:
        return day_ends_ms(now, zone)
    begins = [spell.end.mono_ms - spell.ms for spell in _lately(now, state)]
    return max(min(begins, default=now.mono_ms) + HOUR_MS, now.mono_ms) + LOOK_AGAIN_MS


def used_up(now: Instant, relay: RelaySettings, state: RelayState, zone: tzinfo) -> Reason:
    """Which of the limits is the nearest."""
    return min(_limits(now, relay, state, zone), key=lambda one: one[0] - one[1])[2]


LOOK_AGAIN_MS = 60_000
"""After the hour's first run began to drop out: so much running time is free again. Our choice."""


def _limits(
    now: Instant, relay: RelaySettings, state: RelayState, zone: tzinfo
) -> list[tuple[int, int, Reason]]:
    """Most, used, and what is said when it is used up."""
    found = []
    run_ms = max(now.mono_ms - state.since_mono_ms, 0) if state.on else 0
    if relay.most_per_h_ms is not None:
        over = sum(_within(now, spell) for spell in state.spells)
        found.append((relay.most_per_h_ms, over + min(run_ms, HOUR_MS), Reason.HOUR_USED))
    if relay.most_per_day_ms is not None:
        booked = state.on_days.get(local_day(now, zone), 0)
        today_ms = booked + min(run_ms, since_midnight_ms(now, zone))
        found.append((relay.most_per_day_ms, today_ms, Reason.DAY_USED))
    return found


def _lately(now: Instant, state: RelayState) -> list[Spell]:
    return [spell for spell in state.spells if spell.end.mono_ms > now.mono_ms - HOUR_MS]


def _within(now: Instant, spell: Spell) -> int:
    """What of a run lies in the last hour."""
    begin = max(spell.end.mono_ms - spell.ms, now.mono_ms - HOUR_MS)
    return max(spell.end.mono_ms - begin, 0)


def _add(state: RelayState, day: str, ms: int) -> None:
    if ms <= 0:
        return
    state.on_days[day] = state.on_days.get(day, 0) + ms
    while len(state.on_days) > DAYS_KEPT:
        del state.on_days[min(state.on_days)]
