"""One fruiting space: its plan made from the settings, its state, and what it asks of its relays.

Nothing here grants anything (see `interlock`) and nothing is known of other spaces. The way of a reading:
`refresh` renews the estimate of its quantity, `asks` runs the controllers over what is known now and gives
exactly one ask for every relay of the space. Timed programmes wait in `pending` until their run begins.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from gillhouse.core.air import dew_point_c, humidity_ratio
from gillhouse.core.asks import Ask, RelayState
from gillhouse.core.crops import Band
from gillhouse.core.demand import (
    AIR_KG_PER_M3,
    ASSUMED_LITRES_PER_H,
    CUT,
    CUT_LEAST_MS,
    HOUR_MS,
    LONGEST_PULSE_MS,
    LONGEST_RUN_MS,
    PULSE_STEP_KG_PER_KG,
    SHORTEST_RUN_MS,
    STRETCH,
    AirPlan,
    AirState,
    DutyPlan,
    DutyState,
    Inside,
    MistPlan,
    MistState,
    Wish,
    air_given,
    duty,
    earliest,
    floor_flow,
    fresh_air,
    mist,
    mist_due_ms,
    mist_given,
    temperature_aims,
)
from gillhouse.core.estimate import DEFAULT_COMBINE, HOLD_MS, Estimate, Sample, combined, without
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.quality import SensorState, drives
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.schedule import light_wanted, next_light_change_ms
from gillhouse.core.settings import (
    FarmSettings,
    RelaySettings,
    Role,
    SensorSettings,
    SpaceKind,
    SpaceSettings,
)

AIR_QUANTITIES = (Quantity.HUMIDITY, Quantity.TEMPERATURE, Quantity.CO2)
"""Steered by the controllers; estimates are kept of these."""

OUTSIDE_ZONES = ("intake", "outdoor")
"""Zones that are not the room's air."""

ASSUMED_C = 18.0
"""Air temperature where nothing measures it and no band says it. Common practice, no source."""

ASSUMED_INTAKE_PCT = 60.0
"""Humidity of intake air where nothing says it. Common practice, no source; the trim learns the rest."""

LOOK_AGAIN_MS = 60_000
"""A space with controllers is decided anew at least this often, whatever its boards report."""

PROGRAMME_WAIT_MS = 120_000
"""A due run that is held back this long is left out: the next due time is its own."""

STEERED_BY: dict[Role, Quantity] = {Role.MIST: Quantity.HUMIDITY, Role.FAN: Quantity.CO2}
"""Whose good value makes a fallback programme needless."""


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
    flows: tuple[tuple[str, float], ...]
    """Relays that bring fresh air while on, with their flow, m3/h."""
    mist: MistPlan | None
    air: AirPlan | None
    heat: DutyPlan | None
    cool: DutyPlan | None

    @property
    def steers(self) -> bool:
        """Something in it follows the air; otherwise there are only programmes."""
        return bool(self.mist or self.air or self.heat or self.cool)


@dataclass(slots=True)
class IntakeAir:
    """The air the fan brings in, as far as it is known."""

    temperature_c: float = ASSUMED_C
    ratio: float = 0.0
    dew_c: float = 0.0
    co2_ppm: float = 425.0


@dataclass(slots=True)
class Pending:
    """A programme's run that has not begun."""

    programme: str
    run_ms: int
    until_ms: int
    seq: int
    fallback: bool


@dataclass(slots=True)
class SpaceState:
    """All that is remembered of a space. Times are monotonic milliseconds."""

    estimates: dict[Quantity, Estimate] = field(default_factory=dict)
    intake: IntakeAir = field(default_factory=IntakeAir)
    mist: MistState = field(default_factory=MistState)
    air: AirState = field(default_factory=AirState)
    heat: DutyState = field(default_factory=DutyState)
    cool: DutyState = field(default_factory=DutyState)
    pending: dict[str, Pending] = field(default_factory=dict)
    """By relay."""
    light_on: bool = False
    light_from_wall_ms: int = 0
    light_to_wall_ms: int = 0
    """`light_on` holds between these two."""
    decided_ms: int = 0
    modes: dict[Role, Reason] = field(default_factory=dict)
    """The story last told of each controller."""


# --- the plan ------------------------------------------------------------------------------------------


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
    return SpacePlan(
        settings=space,
        sensors={quantity: _sensors(farm, space.id, quantity, False) for quantity in AIR_QUANTITIES},
        intake={
            quantity: _sensors(farm, space.id, quantity, True) or _sensors(farm, None, quantity, True)
            for quantity in AIR_QUANTITIES
        },
        relays=roles,
        flows=tuple(air.items()),
        mist=_mist_plan(space, [relay for relay in own if relay.role is Role.MIST]),
        air=_air_plan(farm, space, air),
        heat=heat,
        cool=cool,
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
    )


def _mist_plan(space: SpaceSettings, relays: list[RelaySettings]) -> MistPlan | None:
    band = space.bands.get(Quantity.HUMIDITY)
    if not relays or band is None or space.kind is SpaceKind.OPEN:
        return None
    pulse = min(relay.pulse_ms for relay in relays)
    limits = [relay.longest_run_ms for relay in relays if relay.longest_run_ms is not None]
    return MistPlan(
        relays=tuple(relay.id for relay in relays),
        litres_per_h=sum(relay.litres_per_h or ASSUMED_LITRES_PER_H for relay in relays),
        pulse_ms=_quantum(space, relays, pulse),
        gap_ms=max(relay.pulse_gap_ms for relay in relays),
        longest_ms=max(pulse, min([pulse * STRETCH, LONGEST_PULSE_MS, *limits])),
        volume_m3=space.volume_m3,
        leak_m3_per_h=space.leak_ach * space.volume_m3,
        band=band,
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
        leak_m3_per_h=space.leak_ach * space.volume_m3,
        floor_m3_per_h=floor_flow(space.fresh_air_ach, space.volume_m3, space.crop_kg),
        blind_m3_per_h=space.fresh_air_ach * space.volume_m3,
        band=space.bands.get(Quantity.CO2),
        humidity=space.bands.get(Quantity.HUMIDITY),
    )


def _duty_plans(
    space: SpaceSettings, relays: list[RelaySettings]
) -> tuple[DutyPlan | None, DutyPlan | None]:
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
        plans.append(DutyPlan(aim, cools, max(runs), aim if edge is None else edge) if runs else None)
    return plans[0], plans[1]


# --- what is known -------------------------------------------------------------------------------------


def refresh(
    plan: SpacePlan, state: SpaceState, sensors: Mapping[str, SensorState], quantity: Quantity, mono_ms: int
) -> None:
    """Renews the estimate of one quantity from the sensors that may steer at this moment."""
    own = plan.sensors.get(quantity)
    if own:
        state.estimates[quantity] = _estimate(
            plan, quantity, own, sensors, state.estimates.get(quantity) or Estimate(), mono_ms
        )


def _estimate(
    plan: SpacePlan,
    quantity: Quantity,
    own: tuple[SensorSettings, ...],
    sensors: Mapping[str, SensorState],
    last: Estimate,
    mono_ms: int,
) -> Estimate:
    samples = [sample for sample in (_sample(sensor, sensors[sensor.id]) for sensor in own) if sample]
    if not samples:
        return without(last, mono_ms)
    return combined(plan.settings.combine.get(quantity) or DEFAULT_COMBINE[quantity], samples)


def _sample(sensor: SensorSettings, state: SensorState) -> Sample | None:
    if not drives(state) or state.good_value is None:
        return None
    return Sample(
        sensor.id, state.good_value, state.good_ms, state.good_seq, sensor.calibrated, sensor.error
    )


def refresh_intake(plan: SpacePlan, state: SpaceState, sensors: Mapping[str, SensorState]) -> None:
    """Renews what is believed of the air outside, from intake sensors or the settings."""
    told = plan.settings.intake
    values = {quantity: _mean(plan.intake[quantity], sensors) for quantity in AIR_QUANTITIES}
    temperature = values[Quantity.TEMPERATURE]
    if temperature is None:
        temperature = told.temperature_c if told.temperature_c is not None else assumed_c(plan)
    humidity = values[Quantity.HUMIDITY]
    if humidity is None:
        humidity = told.humidity_pct if told.humidity_pct is not None else ASSUMED_INTAKE_PCT
    humidity = min(max(humidity, 1.0), 100.0)
    co2 = values[Quantity.CO2]
    state.intake = IntakeAir(
        temperature_c=temperature,
        ratio=humidity_ratio(temperature, humidity),
        dew_c=dew_point_c(temperature, humidity),
        co2_ppm=told.co2_ppm if co2 is None else co2,
    )


def _mean(own: tuple[SensorSettings, ...], sensors: Mapping[str, SensorState]) -> float | None:
    values = [value for value in (_good(sensors[sensor.id]) for sensor in own) if value is not None]
    return sum(values) / len(values) if values else None


def _good(state: SensorState) -> float | None:
    return state.good_value if drives(state) else None


def assumed_c(plan: SpacePlan) -> float:
    """Air temperature where nothing measures it: the band's middle."""
    band = plan.settings.bands.get(Quantity.TEMPERATURE)
    if band is None:
        return ASSUMED_C
    edges = [edge for edge in (band.low, band.high) if edge is not None]
    return band.target if band.target is not None else sum(edges) / len(edges) if edges else ASSUMED_C


def look(plan: SpacePlan, state: SpaceState, relays: Mapping[str, RelayState]) -> Inside:
    """The air inside and what moves it now."""
    none = Estimate()
    temperature = state.estimates.get(Quantity.TEMPERATURE) or none
    intake = state.intake
    return Inside(
        humidity=state.estimates.get(Quantity.HUMIDITY) or none,
        temperature=temperature,
        co2=state.estimates.get(Quantity.CO2) or none,
        temperature_c=assumed_c(plan) if temperature.value is None else temperature.value,
        intake_c=intake.temperature_c,
        intake_ratio=intake.ratio,
        intake_dew_c=intake.dew_c,
        intake_co2_ppm=intake.co2_ppm,
        fan_m3_per_h=sum(flow for relay, flow in plan.flows if relays[relay].on),
        cold=_is_cold(plan, temperature, intake),
    )


def _is_cold(plan: SpacePlan, temperature: Estimate, intake: IntakeAir) -> bool:
    band = plan.settings.bands.get(Quantity.TEMPERATURE)
    if band is None or temperature.value is None:
        return False
    return is_below(band, temperature.value) and intake.temperature_c < temperature.value


# --- what is asked -------------------------------------------------------------------------------------


def asks(
    plan: SpacePlan, state: SpaceState, relays: Mapping[str, RelayState], now: Instant, farm: FarmSettings
) -> list[Ask]:
    """One ask for every relay of the space, in the settings' order. Moves the controllers to `now`."""
    mono_ms = now.mono_ms
    state.decided_ms = mono_ms
    for quantity, estimate in state.estimates.items():
        if estimate.held and mono_ms - estimate.mono_ms >= HOLD_MS:
            state.estimates[quantity] = Estimate()
    wishes = _wishes(plan, state, relays, mono_ms) if plan.steers else {}
    light = _light(plan, state, now, farm)
    for relay, role in plan.relays.items():
        if role is Role.LIGHT and light is not None:
            wishes[relay] = light
    return [_ask(relay, wishes.get(relay), state.pending.get(relay)) for relay in plan.relays]


def _wishes(
    plan: SpacePlan, state: SpaceState, relays: Mapping[str, RelayState], mono_ms: int
) -> dict[str, Wish]:
    inside = look(plan, state, relays)
    wishes: dict[str, Wish] = {}
    if plan.mist:
        wishes.update(mist(plan.mist, inside, state.mist, mono_ms))
    if plan.air:
        air = fresh_air(plan.air, inside, state.air, mono_ms)
        wishes.update((relay, air) for relay, _ in plan.flows)
    for role, duty_plan, duty_state in (
        (Role.HEATER, plan.heat, state.heat),
        (Role.COOLER, plan.cool, state.cool),
    ):
        if duty_plan is None:
            continue
        own = [relay for relay, its_role in plan.relays.items() if its_role is role]
        duty_state.on = any(relays[relay].on for relay in own)
        wish = duty(duty_plan, inside, duty_state, mono_ms)
        wishes.update((relay, wish) for relay in own)
    return wishes


def _light(plan: SpacePlan, state: SpaceState, now: Instant, farm: FarmSettings) -> Wish | None:
    light = plan.settings.light
    if light is None or Role.LIGHT not in plan.relays.values():
        return None
    if not state.light_from_wall_ms <= now.wall_ms < state.light_to_wall_ms:
        change = next_light_change_ms(light, now.wall_ms, farm.zone)
        state.light_on = light_wanted(light, now.wall_ms, farm.zone)
        state.light_from_wall_ms = now.wall_ms
        state.light_to_wall_ms = now.wall_ms + 86_400_000 if change is None else change
    return Wish(True, Reason.LIGHT_HOURS) if state.light_on else Wish(False, Reason.OUT_OF_LIGHT)


def _ask(relay: str, wish: Wish | None, pending: Pending | None) -> Ask:
    """The strongest of what a controller wishes and what a programme has due."""
    if wish is not None and wish.on:
        authority = Authority.SCHEDULE if wish.reason is Reason.LIGHT_HOURS else Authority.DEMAND
        return Ask(relay, True, wish.run_ms, authority, wish.reason, wish.causes, wish.facts)
    if pending is not None:
        reason = Reason.FALLBACK_PROGRAMME if pending.fallback else Reason.PROGRAMME
        facts: dict[str, float | int | str | bool | None] = {
            "programme": pending.programme, "run_s": pending.run_ms / 1000
        }
        return Ask(relay, True, pending.run_ms, Authority.SCHEDULE, reason, (pending.seq,), facts)
    if wish is None:
        return Ask(relay, False, None, Authority.DEFAULT, Reason.RUN_ENDED)
    return Ask(relay, False, None, Authority.DEMAND, wish.reason, wish.causes, wish.facts)


def given(plan: SpacePlan, state: SpaceState, command: Command, mono_ms: int, run_ms: int) -> None:
    """Takes note that a relay of the space was turned on for `run_ms`, whoever asked for it."""
    role = plan.relays.get(command.relay)
    if role is Role.MIST and plan.mist:
        mist_given(plan.mist, state.mist, command.relay, mono_ms, run_ms)
    if role is Role.FAN and plan.air:
        air_given(plan.air, state.air, command.reason, mono_ms, run_ms)


def steered(state: SpaceState, role: Role) -> bool:
    """Whether a good value steers the role, so that its fallback programme may rest."""
    quantity = STEERED_BY.get(role)
    estimate = state.estimates.get(quantity) if quantity else None
    return estimate is not None and estimate.steers


def modes(plan: SpacePlan, state: SpaceState) -> dict[Role, Reason]:
    """The story each controller tells now, for 'no change because'."""
    told: dict[Role, Reason] = {}
    if plan.mist:
        told[Role.MIST] = state.mist.mode
    elif plan.settings.kind is SpaceKind.OPEN:
        told[Role.MIST] = _open_mode(plan, state)
    if plan.air:
        told[Role.FAN] = state.air.mode
    if plan.heat:
        told[Role.HEATER] = state.heat.mode
    if plan.cool:
        told[Role.COOLER] = state.cool.mode
    return told


def _open_mode(plan: SpacePlan, state: SpaceState) -> Reason:
    """An open space is advised, not conditioned."""
    band = plan.settings.bands.get(Quantity.HUMIDITY)
    estimate = state.estimates.get(Quantity.HUMIDITY)
    if estimate is None or estimate.value is None:
        return Reason.NO_GOOD_READING
    back = 2.0 if state.modes.get(Role.MIST) is Reason.ASK_HOSE else 0.0
    return Reason.ASK_HOSE if band and is_below(band, estimate.value - back) else Reason.IN_BAND


def is_below(band: Band, value: float) -> bool:
    """Under the band's lower edge, where it has one."""
    return band.low is not None and value < band.low


def due_ms(plan: SpacePlan, state: SpaceState, now: Instant) -> int | None:
    """When the space must be looked at again without any input; None: only inputs move it."""
    moments: list[int | None] = [pending.until_ms for pending in state.pending.values()]
    if plan.steers:
        moments.append(state.decided_ms + LOOK_AGAIN_MS)
    if plan.mist:
        moments.append(mist_due_ms(plan.mist, state.mist))
    if plan.settings.light is not None and Role.LIGHT in plan.relays.values():
        moments.append(now.mono_ms + state.light_to_wall_ms - now.wall_ms)
    moments += [
        estimate.mono_ms + HOLD_MS for estimate in state.estimates.values() if estimate.held
    ]
    # What lay at or before the last look has been looked at; only something new can change the answer.
    return earliest([moment for moment in moments if moment is not None and moment > state.decided_ms])
