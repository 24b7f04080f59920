"""What a space's controllers need to know, worked out once from the settings.

Nothing here changes while the farm runs, and nothing is decided: which sensors measure the room and which the
intake, which relays the space asks for, what each controller works against.
"""

from dataclasses import dataclass

from gillhouse.core.air import AIR_KG_PER_M3
from gillhouse.core.alarm_kinds import PEOPLE_LIMITS
from gillhouse.core.demand import HOUR_MS, SHORTEST_RUN_MS
from gillhouse.core.fresh_air import LONGEST_RUN_MS, AirPlan, floor_flow
from gillhouse.core.kind_limits import not_air
from gillhouse.core.misting import (
    ASSUMED_LITRES_PER_H,
    CUT,
    CUT_LEAST_MS,
    DRIFT_LASTS_MS,
    LONGEST_PULSE_MS,
    OPEN_PACE_MS,
    OPEN_PASSES_MS,
    OPEN_PEAK_PCT,
    PACE_MS,
    PEAK_PCT,
    PULSE_PASSES_MS,
    PULSE_STEP_KG_PER_KG,
    STRETCH,
    MistPlan,
)
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import (
    FarmSettings,
    RelaySettings,
    Role,
    SensorSettings,
    SpaceKind,
    SpaceSettings,
)
from gillhouse.core.stirring import UNEVEN_FROM
from gillhouse.core.ventilation import flow
from gillhouse.core.warmth import DutyPlan, temperature_aims

AIR_QUANTITIES = (Quantity.HUMIDITY, Quantity.TEMPERATURE, Quantity.CO2)
"""Steered by the controllers; estimates are kept of these."""

OUTSIDE_ZONES = ("intake", "outdoor")
"""Zones that are not the room's air."""

ASSUMED_C = 18.0
"""Air temperature where nothing measures it and no band says it. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class SpacePlan:
    """What follows from the settings alone."""

    settings: SpaceSettings
    sensors: dict[Quantity, tuple[SensorSettings, ...]]
    """In the room's air."""
    intake: dict[Quantity, tuple[SensorSettings, ...]]
    """In the air the fan brings in: the space's own, else the farm's."""
    relays: dict[str, Role]
    """Every relay the space asks for, dampers under the role of the fan they open."""
    by_role: dict[Role, tuple[str, ...]]
    flows: tuple[tuple[str, float], ...]
    """Relays that bring fresh air while on, with their flow, m3/h."""
    mist: MistPlan | None
    air: AirPlan | None
    heat: DutyPlan | None
    cool: DutyPlan | None
    stirs: bool
    """It has a circulation fan and two places to compare."""
    steers: bool
    """Something in it follows the air; otherwise there are only programmes."""
    lit: bool
    """It has a light and hours for it."""
    assumed_c: float
    """Air temperature where nothing measures it: the band's middle."""


def plan_space(farm: FarmSettings, space: SpaceSettings) -> SpacePlan:
    """What a space's controllers need, worked out once from the settings."""
    own = [relay for relay in farm.relays.values() if relay.space == space.id and relay.role is not Role.PUMP]
    roles = {relay.id: relay.role for relay in own}
    flows = {relay.id: relay.air_m3_per_h for relay in own if relay.role is Role.FAN}
    for shared in farm.shared_air.values():
        flows.pop(shared.fan, None)
        roles.pop(shared.fan, None)
        damper = shared.dampers.get(space.id)
        if damper is not None:
            roles[damper] = Role.FAN
            flows[damper] = farm.relays[shared.fan].air_m3_per_h
    air = {} if space.kind is SpaceKind.OPEN else flows
    heat, cool = _duty_plans(space, own)
    mist_plan = _mist_plan(space, [relay for relay in own if relay.role is Role.MIST])
    air_plan = _air_plan(farm, space, air)
    sensors = {quantity: _sensors(farm, space.id, quantity, False) for quantity in AIR_QUANTITIES}
    stirs = Role.CIRCULATION in roles.values() and any(len(sensors[one]) > 1 for one in UNEVEN_FROM)
    return SpacePlan(
        settings=space,
        sensors=sensors,
        intake={
            quantity: _sensors(farm, space.id, quantity, True) or _sensors(farm, None, quantity, True)
            for quantity in AIR_QUANTITIES
        },
        relays=roles,
        by_role={
            role: tuple(relay for relay, its_role in roles.items() if its_role is role) for role in Role
        },
        flows=tuple(air.items()),
        mist=mist_plan,
        air=air_plan,
        heat=heat,
        cool=cool,
        stirs=stirs,
        steers=bool(mist_plan or air_plan or heat or cool or stirs),
        lit=space.light is not None and Role.LIGHT in roles.values(),
        assumed_c=_assumed_c(space),
    )


def _sensors(
    farm: FarmSettings, space: str | None, quantity: Quantity, outside: bool
) -> tuple[SensorSettings, ...]:
    return tuple(
        sensor
        for sensor in farm.sensors.values()
        if sensor.space == space
        and sensor.quantity is quantity
        and (space is None or (sensor.zone in OUTSIDE_ZONES) is outside)
        and not not_air(sensor)
    )


def _mist_plan(space: SpaceSettings, relays: list[RelaySettings]) -> MistPlan | None:
    band = space.bands.get(Quantity.HUMIDITY)
    if not relays or band is None:
        return None
    open_air = space.kind is SpaceKind.OPEN
    pulse = min(relay.pulse_ms for relay in relays)
    limits = [relay.longest_run_ms for relay in relays if relay.longest_run_ms is not None]
    return MistPlan(
        relays=tuple(relay.id for relay in relays),
        litres_per_h=sum(relay.litres_per_h or ASSUMED_LITRES_PER_H for relay in relays),
        pulse_ms=_quantum(space, relays, pulse),
        gap_ms=max(relay.pulse_gap_ms for relay in relays),
        longest_ms=max(pulse, min([pulse * STRETCH, LONGEST_PULSE_MS, *limits])),
        volume_m3=space.volume_m3,
        leak_m3_per_h=flow(space.leak_ach, space.volume_m3),
        band=band,
        crop_kg=space.crop_kg,
        open_air=open_air,
        pace_ms=OPEN_PACE_MS if open_air else PACE_MS,
        drift_lasts_ms=OPEN_PACE_MS if open_air else DRIFT_LASTS_MS,
        passes_ms=OPEN_PASSES_MS if open_air else PULSE_PASSES_MS,
        peak_pct=OPEN_PEAK_PCT if open_air else PEAK_PCT,
    )


def _quantum(space: SpaceSettings, relays: list[RelaySettings], pulse_ms: int) -> int:
    """The shortest pulse: an ordinary one, cut down where it would be too much for so little air."""
    kg_per_ms = sum(relay.litres_per_h or ASSUMED_LITRES_PER_H for relay in relays) / HOUR_MS
    fine_ms = space.volume_m3 * AIR_KG_PER_M3 * PULSE_STEP_KG_PER_KG / kg_per_ms
    least_ms = max(pulse_ms // CUT, CUT_LEAST_MS, *(relay.least_on_ms for relay in relays))
    return min(pulse_ms, max(int(fine_ms), least_ms))


def _air_plan(farm: FarmSettings, space: SpaceSettings, flows: dict[str, float]) -> AirPlan | None:
    if not flows:
        return None
    fans = [farm.relays[relay] for relay in flows]
    fans += [farm.relays[shared.fan] for shared in farm.shared_air.values() if space.id in shared.dampers]
    shortest = max(max(fan.least_on_ms for fan in fans), 0) or SHORTEST_RUN_MS
    limits = [fan.longest_run_ms for fan in fans if fan.longest_run_ms is not None]
    return AirPlan(
        fan_m3_per_h=sum(flows.values()),
        shortest_ms=shortest,
        longest_ms=max(shortest, min([LONGEST_RUN_MS, *limits])),
        rest_ms=max(fan.least_off_ms for fan in fans),
        volume_m3=space.volume_m3,
        leak_m3_per_h=flow(space.leak_ach, space.volume_m3),
        floor_m3_per_h=floor_flow(
            space.fresh_air_ach, space.volume_m3, space.crop_kg, space.fresh_air_m3_per_h
        ),
        blind_m3_per_h=flow(space.fresh_air_ach, space.volume_m3),
        band=space.bands.get(Quantity.CO2),
        humidity=space.bands.get(Quantity.HUMIDITY),
        people_ppm=PEOPLE_LIMITS[0][1] if space.walk_in else None,
    )


def _assumed_c(space: SpaceSettings) -> float:
    band = space.bands.get(Quantity.TEMPERATURE)
    if band is None:
        return ASSUMED_C
    edges = [edge for edge in (band.low, band.high) if edge is not None]
    return band.target if band.target is not None else sum(edges) / len(edges) if edges else ASSUMED_C


def _duty_plans(space: SpaceSettings, relays: list[RelaySettings]) -> tuple[DutyPlan | None, DutyPlan | None]:
    band = space.bands.get(Quantity.TEMPERATURE)
    aims = temperature_aims(band) if band else None
    if band is None or aims is None or space.kind is SpaceKind.OPEN:
        return None, None
    plans: list[DutyPlan | None] = []
    for role, cools, aim, edge in (
        (Role.HEATER, False, aims[0], band.low),
        (Role.COOLER, True, aims[1], band.high),
    ):
        runs = [max(relay.least_on_ms, SHORTEST_RUN_MS) for relay in relays if relay.role is role]
        wet = None if cools else space.bands.get(Quantity.HUMIDITY)
        limit = aim if edge is None else edge
        plans.append(DutyPlan(aim, cools, max(runs), limit, wet, aims[1]) if runs else None)
    return plans[0], plans[1]
