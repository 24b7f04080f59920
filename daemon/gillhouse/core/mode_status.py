"""What a space is in besides growing, as plain values for `now` and the page. Reads only."""

from gillhouse.core import breathed, picking
from gillhouse.core.breathed import QUARTER_MIN, SHIFT_MIN
from gillhouse.core.house import Plan, State
from gillhouse.core.instant import Instant
from gillhouse.core.modes import MODE_WORDS, WHOLE_FARM, ModeState


def modes(plan: Plan, state: State, space: str, now: Instant) -> list[dict[str, object]]:
    """Every mode of a space, people first. Keys are stable."""
    stays = state.stays.get(space)
    found = [stays.now] if stays is not None and stays.now is not None else []
    found += [state.modes[key] for key in (WHOLE_FARM, space) if key in state.modes]
    return [_mode(plan, state, space, one, now) for one in found]


def _mode(plan: Plan, state: State, space: str, one: ModeState, now: Instant) -> dict[str, object]:
    account = state.harvests.get(space)
    left_h = None
    if account is not None and space in plan.spaces:
        left_h = picking.left_h(account, plan.spaces[space].settings.hose, now.wall_ms)
    left_min = None if left_h is None else round(min(left_h, picking.SHOWN_MOST_H) * 60)
    return {
        "mode": one.mode.value,
        "words": MODE_WORDS[one.mode],
        "who": one.who,
        "why": one.why,
        "since_ms": now.wall_ms - (now.mono_ms - one.since_ms),
        "until_ms": None if one.until_ms is None else now.wall_ms + one.until_ms - now.mono_ms,
        "crop_stands_min": left_min if one.mode.value == "harvest" else None,
        "air_changes": [round(one.done, 2), one.changes] if one.changes else None,
    }


def air_breathed(state: State, space: str, now: Instant) -> dict[str, object] | None:
    """CO2 that people breathed in a space, as averages; None where nobody was inside in the last 8 hours."""
    log = state.breathed.get(space)
    if log is None or not log.minutes:
        return None
    shift, quarter = (breathed.average(log, over, now.wall_ms) for over in (SHIFT_MIN, QUARTER_MIN))
    return {
        "eight_hours_ppm": None if shift is None else round(shift),
        "quarter_hour_ppm": None if quarter is None else round(quarter),
        "inside_min": len(log.minutes),
        "unknown_min": breathed.unknown_min(log.ppm),
    }
