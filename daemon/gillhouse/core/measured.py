"""Figures that a measuring run found and a person put to use: the settings with them in place of labels.

What must not be here: measuring (see `step_test`, `step_fit`), deciding.
"""

from collections.abc import Mapping
from dataclasses import replace

from gillhouse.core.measurement import Measurement
from gillhouse.core.settings import FarmSettings, Role


def measured_or_label(
    settings: FarmSettings, measured: Mapping[str, Measurement], shares: Mapping[str, float]
) -> FarmSettings:
    """The settings with measured figures in place of labels: fan flows, leakage, CO2 of intake air.

    Fans share what was measured as their labels do. Litres stay as labelled: they count water, not vapour.

    Args:
        shares: by space, what its fans have since been learnt to give of that; see `learning`.
    """
    relays, spaces = dict(settings.relays), dict(settings.spaces)
    for name, found in measured.items():
        space = spaces.get(name)
        if space is None:
            continue
        intake = replace(space.intake, co2_ppm=found.intake_ppm)
        spaces[name] = replace(space, leak_ach=found.leak_ach, intake=intake)
        fans = [relay for relay in relays.values() if relay.space == name and relay.role is Role.FAN]
        labels = sum(fan.air_m3_per_h for fan in fans)
        for fan in fans:
            share = fan.air_m3_per_h / labels if labels else 1.0 / len(fans)
            relays[fan.id] = replace(fan, air_m3_per_h=found.fan_m3_per_h * share)
    for name, share in shares.items():
        for fan in [one for one in relays.values() if one.space == name and one.role is Role.FAN]:
            relays[fan.id] = replace(fan, air_m3_per_h=fan.air_m3_per_h * share)
    return replace(settings, relays=relays, spaces=spaces)
