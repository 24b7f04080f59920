"""What a space needs: fresh air, water, nozzles, heat, worked out with the equations in sight.

What lives here: the working, line by line: equation, numbers, result with its range, source, how sure. What
must not: a label's purchase advice, reading a config. One fully mixed room (Batterman, Int. J. Environ. Res.
Public Health 14:145, 2017) and moist air after ASHRAE Fundamentals 2017 ch. 1. The range of every result
comes from the batch's breath alone, by far the least known.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import isinf, sqrt

from gillhouse.core.air import STANDARD_PA, deficit_kpa, dew_point_c, humidity_ratio, volume_m3_per_kg
from gillhouse.core.breath import Q10, Breath
from gillhouse.core.ventilation import (
    air_changes,
    fan_duty,
    needed_flow,
    purge_h,
    settles_at_ppm,
    source_m3_per_h,
)

HEAT_KJ_PER_G = 10.6
"""Heat per gram of CO2 breathed out: glucose burnt, 2803 kJ/mol over 6 mol of CO2 (stoichiometry)."""
AIR_KJ_PER_KG_K = 1.006
"""Heat capacity of dry air (ASHRAE 2017 ch. 1 eqn 30)."""
PULSE_KG_PER_KG = 0.0003
"""A pulse raises the air's water by this: two to three points of humidity. Common practice, no source."""
PURGE_FROM = 1.5
"""The purge time is told from this many times the ceiling."""
SHELL_PER_M3 = 6.3
"""Shell area of a room of ordinary proportions: this times volume^(2/3), m2."""
BALANCE = "S. Batterman, Int. J. Environ. Res. Public Health 14:145, 2017"
MOIST_AIR = "ASHRAE Handbook Fundamentals 2017 ch. 1"


@dataclass(frozen=True, slots=True)
class Air:
    temperature_c: float
    humidity_pct: float

    def ratio(self, pressure_pa: float) -> float:
        return humidity_ratio(self.temperature_c, self.humidity_pct, pressure_pa)


@dataclass(frozen=True, slots=True)
class Question:
    """A space, its batch, the air outside."""

    volume_m3: float
    kg: float
    breath: Breath
    inside: Air
    ceiling_ppm: float
    outside: Air
    intake_ppm: float
    leak_m3_per_h: float
    fan_m3_per_h: float = 0.0
    """What there is; 0: none or unknown."""
    litres_per_h: float = 0.0
    """Of all nozzles together, as labelled."""
    nozzles_litres_per_h: float = 4.0
    """Of one nozzle, where nozzles are to be counted."""
    useful_share: float = 0.6
    useful_source: str = "common practice, no source: about half of a cheap nozzle's water stays in the air"
    heater_w: float = 0.0
    shell_w_m2k: float = 0.5
    gives_kg_per_h: float = 0.0
    """Water that crop and floor already give."""
    pressure_pa: float = STANDARD_PA


@dataclass(frozen=True, slots=True)
class Line:
    """One step of the working."""

    name: str
    equation: str
    numbers: str
    result: float
    low: float
    high: float
    unit: str
    source: str
    sure: str


@dataclass(frozen=True, slots=True)
class Figures:
    """Every result for one size of the batch's breath."""

    grams_per_h: float
    source_m3_per_h: float
    climb_ppm_per_h: float
    needed_m3_per_h: float
    changes_per_h: float
    flow_m3_per_h: float
    """Of outside air in the mean: what is needed, or what leaks in anyhow."""
    settles_ppm: float
    fan_share: float
    purge_min: float
    water_kg_per_h: float
    water_l_per_day: float
    nozzles: float
    pulse_s: float
    pulses_per_h: float
    latent_w: float
    air_w: float
    shell_w: float
    batch_w: float
    heater_w: float


def mist_kg_per_h(flow_m3_per_h: float, inside: Air, outside: Air, gives: float, pressure_pa: float) -> float:
    """Water that must be brought into the air to hold it, kg/h; under 0: the space must be dried instead.

    m = Q / v_out x (w_in - w_out) - E: Q of outside air drawn in, v_out its volume per kg of dry air, E what
    crop and floor give. Source: ASHRAE Fundamentals 2017 ch. 1 eqn 20 and 26, and conservation of water.
    """
    w_out = outside.ratio(pressure_pa)
    dry_kg_per_h = flow_m3_per_h / volume_m3_per_kg(outside.temperature_c, w_out, pressure_pa)
    return dry_kg_per_h * (inside.ratio(pressure_pa) - w_out) - gives


def latent_kj_per_kg(temperature_c: float) -> float:
    """Heat that evaporates a kilogram of water. Source: ASHRAE 2017 ch. 1 eqn 33 (2501 - 2.326 T)."""
    return 2501.0 - 2.326 * temperature_c


def nozzle_flow(litres_per_h: float, at_bar: float, bar: float) -> float:
    """What a nozzle labelled `litres_per_h` at `at_bar` gives at `bar`: flow goes with its root."""
    return litres_per_h * sqrt(bar / at_bar)


def figures(asked: Question, grams_per_h: float) -> Figures:  # over 40 lines: one literal and its sums
    """All results for a batch that breathes out `grams_per_h` of CO2."""
    volume, inside, outside = asked.volume_m3, asked.inside, asked.outside
    source = source_m3_per_h(grams_per_h, inside.temperature_c, asked.pressure_pa)
    needed = needed_flow(source, asked.ceiling_ppm, asked.intake_ppm)
    full = asked.fan_m3_per_h + asked.leak_m3_per_h
    # Where no flow reaches the ceiling, the rest is reckoned for the air there is.
    most = full if asked.fan_m3_per_h or isinf(needed) else needed
    flow = max(min(needed, most), asked.leak_m3_per_h)
    settles = settles_at_ppm(source, full, asked.intake_ppm)
    water = mist_kg_per_h(flow, inside, outside, asked.gives_kg_per_h, asked.pressure_pa)
    given = max(water, 0.0) / asked.useful_share
    air_kg = volume / volume_m3_per_kg(
        inside.temperature_c, inside.ratio(asked.pressure_pa), asked.pressure_pa
    )
    pulse_kg = air_kg * PULSE_KG_PER_KG / asked.useful_share
    nozzle = asked.litres_per_h or asked.nozzles_litres_per_h
    warmer = inside.temperature_c - outside.temperature_c
    dry = flow / volume_m3_per_kg(outside.temperature_c, outside.ratio(asked.pressure_pa), asked.pressure_pa)
    latent_w = max(water, 0.0) * latent_kj_per_kg(inside.temperature_c) / 3.6
    air_w = dry * AIR_KJ_PER_KG_K * warmer / 3.6
    shell_w = asked.shell_w_m2k * SHELL_PER_M3 * volume ** (2 / 3) * warmer
    batch_w = grams_per_h * HEAT_KJ_PER_G / 3.6
    return Figures(
        grams_per_h=grams_per_h,
        source_m3_per_h=source,
        climb_ppm_per_h=1e6 * source / volume,
        needed_m3_per_h=needed,
        changes_per_h=air_changes(needed, volume),
        flow_m3_per_h=flow,
        settles_ppm=settles,
        fan_share=fan_duty(needed, asked.leak_m3_per_h, asked.fan_m3_per_h),
        purge_min=60.0 * purge_h(
            PURGE_FROM * asked.ceiling_ppm, asked.ceiling_ppm, settles, air_changes(full, volume)
        ),
        water_kg_per_h=water,
        water_l_per_day=24.0 * given,
        nozzles=given / asked.nozzles_litres_per_h,
        pulse_s=3600.0 * pulse_kg / nozzle,
        pulses_per_h=given / pulse_kg,
        latent_w=latent_w,
        air_w=air_w,
        shell_w=shell_w,
        batch_w=batch_w,
        heater_w=max(air_w + shell_w + latent_w - batch_w, 0.0),
    )  # fmt: skip


Numbers = Callable[[Question, Figures], str]
_TABLE: tuple[tuple[str, str, str, Numbers, str, str], ...] = (
    # field of Figures, name, equation, numbers, unit, source and how sure ("|" between)
    ("grams_per_h", "CO2 the batch gives off", "G = kg x r x q10^((T - T0) / 10)", lambda q, _: (
        f"{q.kg:g} kg x {q.breath.likely:.4g} g/(kg h) x {Q10:g}^(({q.inside.temperature_c:g} -"
        f" {q.breath.at_c:g}) / 10)"), "g/h", ""),
    ("source_m3_per_h", "the same as a volume", "g / 44.0095 x 8.31446 x (T + 273.15) / p", lambda q, f: (
        f"{f.grams_per_h:.4g} g/h at {q.inside.temperature_c:g} C and {q.pressure_pa / 1000:.4g} kPa"),
        "m3/h", "ideal gas law|exact"),
    ("climb_ppm_per_h", "CO2 climbs with everything shut", "1e6 G / V", lambda q, f: (
        f"1e6 x {f.source_m3_per_h:.4g} / {q.volume_m3:g}"), "ppm/h", f"{BALANCE}|as sure as G"),
    ("needed_m3_per_h", "fresh air that keeps the ceiling", "Q = 1e6 G / (C - Co)", lambda q, f: (
        f"1e6 x {f.source_m3_per_h:.4g} / ({q.ceiling_ppm:g} - {q.intake_ppm:g})"), "m3/h",
        f"{BALANCE}|as sure as G"),
    ("changes_per_h", "as air changes", "N = Q / V", lambda q, f: (
        f"{f.needed_m3_per_h:.4g} / {q.volume_m3:g}"), "per hour", f"{BALANCE}|as sure as G"),
    ("settles_ppm", "CO2 with the fan always on", "Co + 1e6 G / (fan + leak)", lambda q, f: (
        f"{q.intake_ppm:g} + 1e6 x {f.source_m3_per_h:.4g} / ({q.fan_m3_per_h:g} + {q.leak_m3_per_h:.4g})"),
        "ppm",
        f"{BALANCE}|as sure as G and the fan's label (filters and ducts take 5 to 25 %)"),
    ("fan_share", "share of time the fan must run", "(Q - leak) / fan", lambda q, f: (
        f"({f.needed_m3_per_h:.4g} - {q.leak_m3_per_h:.4g}) / {q.fan_m3_per_h:g}"), "of 1",
        "mean flow|as sure as G and the label"),
    ("purge_min", f"time from {PURGE_FROM:g} x the ceiling down to it, fan on",
        "t = ln((C0 - Css) / (C - Css)) x V / (fan + leak)", lambda q, f: (
        f"from {PURGE_FROM * q.ceiling_ppm:g} to {q.ceiling_ppm:g}, Css {f.settles_ppm:.4g} ppm"), "min",
        f"{BALANCE}|as sure as the label; sensor and mixing add minutes"),
    ("water_kg_per_h", "water the fresh air carries off", "m = Q / v_out x (w_in - w_out) - E", lambda q, f: (
        f"{f.flow_m3_per_h:.4g} / {_v_out(q):.4f} x ({1000 * q.inside.ratio(q.pressure_pa):.3f} -"
        f" {1000 * q.outside.ratio(q.pressure_pa):.3f}) g/kg - {q.gives_kg_per_h:g}"), "kg/h",
        f"{MOIST_AIR} eqn 20, 26|as sure as Q; the crop gives some itself, so rather too much"),
    ("water_l_per_day", "water to spray in a day", "24 m / useful share", lambda q, f: (
        f"24 x {max(f.water_kg_per_h, 0):.4g} / {q.useful_share:.3g}"), "L", "useful|within a third"),
    ("nozzles", "nozzles, going all the time", "m / (useful share x litres of one)", lambda q, f: (
        f"{max(f.water_kg_per_h, 0):.4g} / ({q.useful_share:.3g} x {q.nozzles_litres_per_h:g} L/h);"
        " take twice as many, so that they rest half of the time"), "", "useful|within a third"),
    ("pulse_s", "one pulse", "V / v_in x 0.0003 / (useful share x litres an hour)", lambda q, _: (
        f"raises {q.volume_m3:g} m3 by 0.3 g/kg (2 to 3 points) with"
        f" {q.litres_per_h or q.nozzles_litres_per_h:g} L/h"), "s", "common practice, no source|a start"),
    ("pulses_per_h", "pulses an hour", "m / (useful share x water of a pulse)", lambda q, f: (
        f"{max(f.water_kg_per_h, 0):.4g} kg/h"), "", "useful|within a third"),
    ("latent_w", "heat the mist takes from the air", "m x (2501 - 2.326 T) / 3.6", lambda q, f: (
        f"{max(f.water_kg_per_h, 0):.4g} x {latent_kj_per_kg(q.inside.temperature_c):.1f} / 3.6"), "W",
        f"{MOIST_AIR} eqn 33|as sure as m"),
    ("air_w", "heat the fresh air takes", "Q / v_out x 1.006 x (T_in - T_out) / 3.6", lambda q, f: (
        f"{f.flow_m3_per_h:.4g} / {_v_out(q):.4f} x 1.006 x ({q.inside.temperature_c:g} -"
        f" {q.outside.temperature_c:g}) / 3.6"), "W", f"{MOIST_AIR} eqn 30|as sure as Q"),
    ("shell_w", "heat the walls lose", "U x 6.3 V^(2/3) x (T_in - T_out)", lambda q, _: (
        f"{q.shell_w_m2k:g} x {SHELL_PER_M3 * q.volume_m3 ** (2 / 3):.4g} m2 x"
        f" {q.inside.temperature_c - q.outside.temperature_c:g} K"), "W",
        "U common practice, no source|within a factor of two: ask the panel's maker"),
    ("batch_w", "heat the batch gives", "G x 10.6 kJ/g / 3.6", lambda _, f: (
        f"{f.grams_per_h:.4g} x 10.6 / 3.6"), "W", "glucose burnt, 2803 kJ/mol|as sure as G"),
    ("heater_w", "heater for this outside air", "air + walls + mist - batch", lambda _, f: (
        f"{f.air_w:.4g} + {f.shell_w:.4g} + {f.latent_w:.4g} - {f.batch_w:.4g}"), "W",
        "sum of the above|within a factor of two; size it for your coldest night (--outside)"),
)  # fmt: skip

_NEEDS_FAN = ("settles_ppm", "fan_share", "purge_min")


def _v_out(asked: Question) -> float:
    outside = asked.outside
    return volume_m3_per_kg(outside.temperature_c, outside.ratio(asked.pressure_pa), asked.pressure_pa)


def working(asked: Question) -> list[Line]:
    """The whole working, in the order one would do it by hand."""
    few, likely, many = asked.breath.grams_per_h(asked.kg, asked.inside.temperature_c)
    least, told, most = figures(asked, few), figures(asked, likely), figures(asked, many)
    lines = []
    for name, title, equation, numbers, unit, proof in _TABLE:
        if name in _NEEDS_FAN and not asked.fan_m3_per_h:
            continue
        source, sure = _proof(asked, proof)
        ends = sorted(getattr(one, name) for one in (least, told, most))
        result = getattr(told, name)
        lines.append(
            Line(title, equation, numbers(asked, told), result, ends[0], ends[2], unit, source, sure)
        )
    return [*lines, _over_the_caps(asked)]


CAPS_LEAST, CAPS_MOST = 4.0, 10.0
"""What healthy caps want of air speed times lack of vapour, mbar m/min; the fastest spot no more than 2.5
times the slowest. Source: G. E. Bowman, Mushroom Science 12, 1989, abstract (button mushrooms)."""


def _over_the_caps(asked: Question) -> Line:
    """How fast air should pass the caps, so that they neither crack nor stay wet."""
    lack_mbar = deficit_kpa(asked.inside.temperature_c, asked.inside.humidity_pct) * 10.0
    least, most = (edge / max(lack_mbar, 0.01) / 60.0 for edge in (CAPS_LEAST, CAPS_MOST))
    return Line(
        "air over the caps", "4 to 10 mbar m/min / lack of vapour", f"4 to 10 / {lack_mbar:.3g} mbar / 60",
        (least + most) / 2, least, most, "m/s", "Bowman, Mushroom Science 12, 1989, abstract",
        "for button mushrooms; the fastest spot no more than 2.5 times the slowest",
    )  # fmt: skip


def _proof(asked: Question, proof: str) -> tuple[str, str]:
    if not proof:
        return asked.breath.source, asked.breath.sure
    source, _, sure = proof.partition("|")
    return (asked.useful_source if source == "useful" else source), sure


def warnings(asked: Question) -> list[str]:
    """What a grower must know before buying anything by these figures."""
    found = []
    told = figures(asked, asked.breath.grams_per_h(asked.kg, asked.inside.temperature_c)[1])
    if isinf(told.needed_m3_per_h):
        found.append(
            "The air outside has as much CO2 as the ceiling: no fan reaches it."
            " Water and heat are reckoned for the fan and the leaks there are."
        )
    elif asked.fan_m3_per_h and told.settles_ppm > asked.ceiling_ppm:
        found.append(
            f"The fan is too small: always on it reaches {told.settles_ppm:.0f} ppm, the ceiling is"
            f" {asked.ceiling_ppm:.0f}. A larger fan, or less crop."
        )
    if told.water_kg_per_h < 0:
        found.append("The air outside is wetter than the space shall be: it needs drying, not mist.")
    dew = dew_point_c(asked.outside.temperature_c, max(asked.outside.humidity_pct, 1.0))
    if dew > asked.inside.temperature_c - 0.5:
        found.append(
            f"The air outside has its dew point at {dew:.1f} C: brought in, it wets caps and walls of"
            f" {asked.inside.temperature_c:g} C."
        )
    if asked.heater_w and told.heater_w > asked.heater_w:
        found.append(f"The heater ({asked.heater_w:g} W) is too small for this air outside.")
    return found
