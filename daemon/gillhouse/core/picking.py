"""How long a crop stands being picked: mist is off, the door open, caps dry.

Here: the account of one picking in a closed space, with the same physics as the caps of an open one
(`caps`, `drying`). Not here: when picking begins and ends (`mode_acts`, `keeping`). What caps carry of the
last mist goes first, then what a dry cap may lose of its own (`HoseSettings.spare_mm`, the grower's figure).
It ranks hours; nobody has measured it for a cap.
"""

from collections.abc import Mapping
from typing import Final

from gillhouse.core.air import humidity_pct
from gillhouse.core.caps import Caps, ZoneAir, ZoneWater, advance, outlook
from gillhouse.core.drying import hours_to_dry, shade_mm_per_day
from gillhouse.core.film import Film
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import HoseSettings
from gillhouse.core.space import SpaceState
from gillhouse.core.space_plan import SpacePlan

CROP: Final = "crop"
"""The one place of a closed space's account."""
DRAUGHT_M_S: Final = 0.3
"""Air over the caps with the door open or a fan on. Common practice, no source."""
SHOWN_MOST_H: Final = 24.0

Told = dict[str, float | int | str | bool | None]


def begin(film: Film, wall_ms: int) -> Caps:
    """The account as picking begins: what film the caps carry. 1 g/m2 of water is 0.001 mm."""
    film_mm = film.g_m2 / 1000.0
    return Caps(zones={CROP: ZoneWater(film_mm, given_mm=film_mm)}, at_wall_ms=wall_ms)


def follow(account: Caps, known: SpaceState, moving: bool, hose: HoseSettings, wall_ms: int) -> None:
    """Brings the account to this moment.

    Args:
        moving: the door is open or a fan runs.
    """
    air = _air(known, moving)
    airs: Mapping[str, ZoneAir] = {} if air is None else {CROP: air}
    # No cap gets wetter while it is picked: no more than it has now.
    most = HoseSettings(max(account.zones[CROP].water_mm, 1e-6), hose.spare_mm)
    advance(account, airs, 0.0, most, wall_ms)


def left_h(account: Caps, hose: HoseSettings, wall_ms: int) -> float | None:
    """Hours until the crop has lost what it may, 0 once it has; None where no air was known of late."""
    first = outlook(account, hose, wall_ms)
    return None if first is None else first.harm_h


def stands(own: SpacePlan, known: SpaceState, account: Caps, wall_ms: int) -> Told:
    """How long the crop stands it, in minutes: in the air of now, and with outside air over it.

    Returns: facts for the log; None for what cannot be told.
    """
    hose = own.settings.hose
    water_mm = min((zone.water_mm for zone in account.zones.values()), default=0.0) + hose.spare_mm
    outside = _intake(known)
    found: dict[str, int | None] = {}
    for name, air in (("here_min", _air(known, True)), ("outside_min", outside)):
        if air is None:
            found[name] = None
            continue
        rate = shade_mm_per_day(air.temperature_c, air.humidity_pct, air.wind_m_s) / 24.0
        hours = min(hours_to_dry(water_mm, rate), SHOWN_MOST_H)
        found[name] = round(hours * 60)
    known_min = [minutes for minutes in found.values() if minutes is not None]
    stand_min = min(known_min, default=None)
    words = "how long the crop stands it is not known: no sensor says"
    if stand_min is not None:
        words = f"the crop stands it for about {_span(stand_min)}, then shut the door"
    return {**found, "stand_min": stand_min, "words": words}


def _span(minutes: int) -> str:
    return f"{minutes} min" if minutes < 120 else f"{minutes / 60:.0f} h"


def _air(known: SpaceState, moving: bool) -> ZoneAir | None:
    humid, warm = known.estimates.get(Quantity.HUMIDITY), known.estimates.get(Quantity.TEMPERATURE)
    if humid is None or warm is None or humid.value is None or warm.value is None:
        return None
    return ZoneAir(warm.value, humid.value, DRAUGHT_M_S if moving else 0.0)


def _intake(known: SpaceState) -> ZoneAir:
    intake = known.intake
    humid = min(max(humidity_pct(intake.temperature_c, intake.ratio), 1.0), 100.0)
    return ZoneAir(intake.temperature_c, humid, DRAUGHT_M_S)
