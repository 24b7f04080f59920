"""How `now` tells of water: on the caps of an open space, and in the lines. Words only."""

from typing import Any

DAY_MS = 86_400_000


def caps(one: dict[str, Any] | None, now_ms: int) -> list[str]:
    """An open space's caps, and how humid it comes.

    Args:
        one: see `core.hosing.status`; None for other spaces.
    """
    if one is None:
        return []
    words = [f"caps         {_outlook(one, now_ms)}"]
    if one["reach"] is not None:
        low, high = one["reach"]
        within = one["within_reach_pct"]
        share = "" if within is None else f"; as good as it comes {within:.0f} % of the time"
        words.append(f"own reach    {low:.0f}..{high:.0f} % at this time of day lately{share}")
    return words


def _outlook(one: dict[str, Any], now_ms: int) -> str:
    if one["hosed_ms"] is None:
        return "nobody told of a hosing yet: gillhouse note SPACE --hosed"
    hosed = f"hosed {_ago(now_ms - one['hosed_ms'])} ago"
    first = one["outlook"]
    if first is None:
        return f"not known, no air sensor reports; {hosed}"
    dry = f"dry in {_span(first['dry_min'])}" if first["dry_min"] else "dry"
    hose = f"hose within {_span(first['within_min'])}" if first["within_min"] else "hose now"
    return f"{dry}, {hose}, {first['zone']} first{first['wind']}; {hosed}"


def lines(water: dict[str, dict[str, Any]]) -> list[str]:
    """What of the lines a person should know: frost, water that stood, lime. Lines that are well: nothing."""
    words = []
    for relay, one in water.items():
        told = []
        if one["freezing"]:
            told.append("near freezing, no mist" + (", drained" if one["drained"] else ": drain it"))
        if one["stood_h"] is not None and one["stood_h"] >= 24.0:
            told.append(f"water stood for {one['stood_h']:.0f} h")
        most = one["descale_litres"]
        if most is not None and one["litres"] >= 0.8 * most:
            told.append(f"{one['litres']:.0f} of {most:.0f} l until it wants descaling")
        if told:
            words.append(f"{relay:<20} line {'; '.join(told)}")
    return words


def _span(minutes: float) -> str:
    return f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60:.0f} h"


def _ago(ms: int) -> str:
    return f"{ms / DAY_MS:.0f} d" if ms >= 2 * DAY_MS else _span(max(ms, 0) / 60_000)
