"""What the least fresh air of a space costs in heat and water, with the air that is outside."""

from gillhouse.core.air import STANDARD_PA, volume_m3_per_kg
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import SpaceSettings
from gillhouse.core.sizing import AIR_KJ_PER_KG_K, Air, latent_kj_per_kg, mist_kg_per_h


def cost(space: SpaceSettings, flow_m3_per_h: float) -> str | None:
    """One line, or None where a band is open.

    The air leaves as warm and damp as the crop needs at least: at the lower edges of the bands. Source of the
    equations: see `core.sizing`.
    """
    warm, damp = space.bands.get(Quantity.TEMPERATURE), space.bands.get(Quantity.HUMIDITY)
    told = space.intake
    if warm is None or damp is None or warm.low is None or damp.low is None:
        return None
    if told.temperature_c is None or told.humidity_pct is None:
        return "    what it costs: write what the air outside is like today (intake: temperature, humidity)"
    inside, outside = Air(warm.low, damp.low), Air(told.temperature_c, told.humidity_pct)
    ratio = outside.ratio(STANDARD_PA)
    dry_kg_per_h = flow_m3_per_h / volume_m3_per_kg(outside.temperature_c, ratio, STANDARD_PA)
    kelvin = inside.temperature_c - outside.temperature_c
    water_kg_per_h = max(mist_kg_per_h(flow_m3_per_h, inside, outside, 0.0, STANDARD_PA), 0.0)
    warms_w = dry_kg_per_h * AIR_KJ_PER_KG_K * max(kelvin, 0.0) / 3.6
    dries_w = water_kg_per_h * latent_kj_per_kg(inside.temperature_c) / 3.6
    return (
        f"    what it costs with {outside.temperature_c:g} C and {outside.humidity_pct:g} % outside:"
        f" {warms_w:.0f} W to warm it, {water_kg_per_h * 24:.1f} l of water a day,"
        f" {dries_w:.0f} W to evaporate it"
    )
