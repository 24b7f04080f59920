"""Fresh air: air changes and duty of a fan, the CO2 a space settles at, the flow and the time a limit needs.

One fully mixed room with a constant source. Volumes in m3, flows in m3/h, air changes per hour, CO2 in ppm,
source in m3 of CO2 per hour. Source of the balance: S. Batterman, Int. J. Environ. Res. Public Health
14:145 (2017), single fully mixed zone.
"""

from math import exp, inf, log

_MOLAR_MASS_G = 44.0095
"""Of CO2, g/mol."""
_GAS_J_PER_MOL_K = 8.314462618
"""Gas constant, SI (2019, exact to the digits given)."""


def air_changes(flow_m3_per_h: float, volume_m3: float) -> float:
    """Air changes per hour that a flow makes in a space."""
    return flow_m3_per_h / volume_m3


def flow(air_changes_per_h: float, volume_m3: float) -> float:
    """Flow, m3/h, that makes so many air changes per hour."""
    return air_changes_per_h * volume_m3


def fan_duty(wanted_m3_per_h: float, leak_m3_per_h: float, fan_m3_per_h: float) -> float:
    """Share of time a fan must run so that the mean flow is what is wanted, 0..1.

    `fan_m3_per_h` is the space's flow while the fan is on, leakage apart. A fan without a figure (0) gives 1.
    """
    lacking = wanted_m3_per_h - leak_m3_per_h
    if lacking <= 0.0:
        return 0.0
    return min(1.0, lacking / fan_m3_per_h) if fan_m3_per_h > 0.0 else 1.0


def source_m3_per_h(grams_per_h: float, temperature_c: float, pressure_pa: float = 101_325.0) -> float:
    """Volume of CO2 given off per hour, from its mass (ideal gas law)."""
    return grams_per_h / _MOLAR_MASS_G * _GAS_J_PER_MOL_K * (temperature_c + 273.15) / pressure_pa


def settles_at_ppm(source: float, flow_m3_per_h: float, intake_ppm: float) -> float:
    """CO2 the space ends at, if nothing changes. Without any flow it rises for ever (inf)."""
    if flow_m3_per_h <= 0.0:
        return inf if source > 0.0 else intake_ppm
    return intake_ppm + 1e6 * source / flow_m3_per_h


def after_ppm(start_ppm: float, settled_ppm: float, changes_per_h: float, hours: float) -> float:
    """CO2 after `hours` on the way from `start_ppm` to `settled_ppm`."""
    return settled_ppm + (start_ppm - settled_ppm) * exp(-changes_per_h * hours)


def needed_flow(source: float, limit_ppm: float, intake_ppm: float) -> float:
    """Flow, m3/h, that keeps CO2 at `limit_ppm`; inf where the intake air is no better than the limit."""
    if limit_ppm <= intake_ppm:
        return inf
    return 1e6 * source / (limit_ppm - intake_ppm)


def purge_h(start_ppm: float, target_ppm: float, settled_ppm: float, changes_per_h: float) -> float:
    """Hours of running until CO2 has fallen from `start_ppm` to `target_ppm`.

    Returns: 0 when it is there already; inf when the space settles at or above the target, so that nobody
    runs a fan for ever towards a level it cannot reach.
    """
    if start_ppm <= target_ppm:
        return 0.0
    if settled_ppm >= target_ppm or changes_per_h <= 0.0:
        return inf
    return log((start_ppm - settled_ppm) / (target_ppm - settled_ppm)) / changes_per_h
