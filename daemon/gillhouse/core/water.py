"""The day's litres of one relay: counted while it is on, by local day, against its cap.

What lives here: settling what has flowed, what is left, and when the rest will have flowed. What must not:
deciding (see `interlock`). How: litres are kept by local date, so a clock that jumps to another day and
back finds each day's count as it left it; a run across midnight is split there. Time that flows is
monotonic.
"""

from datetime import datetime, time, timedelta, tzinfo

from gillhouse.core.asks import RelayState
from gillhouse.core.instant import Instant
from gillhouse.core.settings import RelaySettings

MS_PER_H = 3_600_000
DAYS_KEPT = 3
NEAR = 0.8
"""Share of the day's cap from which on somebody is told. Our choice."""
MORE = 0.5
"""Share of the cap a person may add, once a day. Our choice."""


def local_day(now: Instant, zone: tzinfo) -> str:
    """The local date, as ISO text."""
    return datetime.fromtimestamp(now.wall_ms / 1000, zone).date().isoformat()


def settle(now: Instant, relay: RelaySettings, state: RelayState, zone: tzinfo) -> None:
    """Books what has flowed since the last settling. Afterwards `state.water_from` is `now`, if it flows."""
    if not relay.litres_per_h:
        return
    today = local_day(now, zone)
    if state.water_from is not None:
        ended = now.mono_ms
        if relay.own_timer and state.lease_end is not None:
            ended = min(ended, state.lease_end)  # the board let go by itself
        flowed_ms = max(0, ended - state.water_from)
        new_ms = flowed_ms
        if state.water_day and state.water_day != today:
            new_ms = min(flowed_ms, max(0, since_midnight_ms(now, zone) - (now.mono_ms - ended)))
            _book(state, state.water_day, relay.litres_per_h * (flowed_ms - new_ms) / MS_PER_H)
        _book(state, today, relay.litres_per_h * new_ms / MS_PER_H)
    state.water_from = now.mono_ms if state.on else None
    state.water_day = today


def litres_today(now: Instant, relay: RelaySettings, state: RelayState, zone: tzinfo) -> float:
    """Litres of the local day of `now`, what is flowing included."""
    booked = state.litres.get(local_day(now, zone), 0.0)
    if state.water_from is None:
        return booked
    ended = now.mono_ms if state.lease_end is None else min(now.mono_ms, state.lease_end)
    return booked + relay.litres_per_h * max(0, ended - state.water_from) / MS_PER_H


def left_ms(now: Instant, relay: RelaySettings, state: RelayState, zone: tzinfo) -> int | None:
    """Milliseconds of running the day's cap still allows; None without a cap. Call after `settle`."""
    if relay.daily_litres is None or not relay.litres_per_h:
        return None
    left = cap_litres(now, relay, state, zone) - state.litres.get(local_day(now, zone), 0.0)
    # A billionth of a litre of slack, so that sums of many pulses do not lose the last one to rounding.
    return max(0, int((left + 1e-9) / relay.litres_per_h * MS_PER_H))


def cap_litres(now: Instant, relay: RelaySettings, state: RelayState, zone: tzinfo) -> float:
    """The cap of the local day of `now`, with what a person added; infinite without a cap."""
    if relay.daily_litres is None:
        return float("inf")
    return relay.daily_litres + state.more_water.get(local_day(now, zone), 0.0)


def is_near_cap(now: Instant, relay: RelaySettings, state: RelayState, zone: tzinfo) -> bool:
    """Most of the day's water has flowed."""
    return litres_today(now, relay, state, zone) >= NEAR * cap_litres(now, relay, state, zone)


def add_more(now: Instant, relay: RelaySettings, state: RelayState, zone: tzinfo) -> float | None:
    """Adds to today's cap, once; returns the litres, or None where it was done today or there is no cap."""
    today = local_day(now, zone)
    if relay.daily_litres is None or today in state.more_water:
        return None
    state.more_water = {today: MORE * relay.daily_litres}
    return state.more_water[today]


def day_ends_ms(now: Instant, zone: tzinfo) -> int:
    """Monotonic time of the next local midnight, if no clock steps before."""
    tomorrow = datetime.fromtimestamp(now.wall_ms / 1000, zone).date() + timedelta(days=1)
    midnight = datetime.combine(tomorrow, time(), zone)
    return now.mono_ms + max(1, int(midnight.timestamp() * 1000) - now.wall_ms)


def since_midnight_ms(now: Instant, zone: tzinfo) -> int:
    """Milliseconds since the local day of `now` began, by the clock on the wall."""
    here = datetime.fromtimestamp(now.wall_ms / 1000, zone)
    midnight = datetime.combine(here.date(), time(), zone)
    return now.wall_ms - int(midnight.timestamp() * 1000)


def _book(state: RelayState, day: str, litres: float) -> None:
    state.litres[day] = state.litres.get(day, 0.0) + litres
    while len(state.litres) > DAYS_KEPT:
        del state.litres[next(iter(state.litres))]
