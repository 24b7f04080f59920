"""What a space is in, and the air people breathed in it, as `gillhouse now` tells them."""

from collections.abc import Iterator, Sequence
from typing import Any

from gillhouse.alerts.wording import plain
from gillhouse.commands.options import since


def modes(standing: Sequence[dict[str, Any]]) -> Iterator[str]:
    """A line for each mode of a space."""
    for one in standing:
        until = "" if one["until_ms"] is None else f", until {since(one['until_ms'])} at the latest"
        why = f": {plain(one['why'])}" if one["why"] else ""
        yield f"{one['words'].upper()} since {since(one['since_ms'])}{until} ({plain(one['who'])}{why})"
        if one["mode"] == "harvest" and one["crop_stands_min"] is not None:
            left = one["crop_stands_min"]
            yield f"  the crop stands it {left} min more" if left else "  THE CROP DRIES: shut the door"
        if one["air_changes"]:
            done, wanted = one["air_changes"]
            yield f"  {done:g} of {wanted:g} air changes so far, with the fan proved to run"


def breathed(air: dict[str, Any] | None) -> Iterator[str]:
    """CO2 that people breathed here, as averages."""
    if air is None or air["eight_hours_ppm"] is None:
        return
    yield (
        f"air breathed inside: CO2 {air['eight_hours_ppm']} ppm over 8 hours (limit 5000),"
        f" {air['quarter_hour_ppm'] or '-'} ppm over the last quarter of an hour (limit 15000)"
    )
