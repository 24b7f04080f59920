"""One fruiting space: its state, and what it asks of its relays.

Nothing here grants anything (see `interlock`) and nothing is known of other spaces. The way of a reading:
`refresh` renews the estimate of its quantity, `asks` runs the controllers over what is known now and gives
exactly one ask for every relay of the space. Timed programmes wait in `pending` until their run begins.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from gillhouse.core.air import dew_point_c, humidity_ratio
from gillhouse.core.asks import Ask, RelayState
from gillhouse.core.crops import Band
from gillhouse.core.delivered import Delivered, fan_run_ms, follow, mist_run_ms
from gillhouse.core.demand import HOUR_MS, Inside, Known, Wish, earliest
from gillhouse.core.estimate import DEFAULT_COMBINE, HOLD_MS, Estimate, Sample, combined, without
from gillhouse.core.fresh_air import AirState, air_given, fresh_air
from gillhouse.core.instant import Instant
from gillhouse.core.misting import MistState, mist, mist_due_ms, mist_given
from gillhouse.core.outputs import Authority, Command, Facts
from gillhouse.core.quality import SensorState, drives
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.schedule import light_wanted, next_light_change_ms
from gillhouse.core.settings import FarmSettings, ProgrammeSettings, Role, SensorSettings, SpaceKind
from gillhouse.core.space_plan import AIR_QUANTITIES, ASSUMED_C, SpacePlan
from gillhouse.core.stirring import StirState, stir
from gillhouse.core.warmth import DutyPlan, DutyState, duty

ASSUMED_INTAKE_PCT = 60.0
"""Humidity of intake air where nothing says it. Common practice, no source; the trim learns the rest."""

LOOK_AGAIN_MS = 60_000
"""A space with controllers is decided anew at least this often, whatever its boards report."""

REST_MS = 1_000
"""No space looks at the same quantity twice within this: what comes sooner is news for one look at its end,
so that a board gone mad, or a queue let go at once, costs next to nothing. Alarm limits are compared all the
same."""

PROGRAMME_WAIT_MS = 120_000
"""A due run that is held back this long is left out: the next due time is its own."""

STEERED_BY: dict[Role, Quantity] = {Role.MIST: Quantity.HUMIDITY, Role.FAN: Quantity.CO2}
"""Whose good value makes a fallback programme needless."""


AUTHORITY = {Reason.LIGHT_HOURS: Authority.SCHEDULE, Reason.CO2_PEOPLE: Authority.EMERGENCY}
"""Of a controller's wish, where it is not an ordinary demand: nobody's override keeps air from people."""

NOTHING = Estimate()
"""What is known where nothing is. Never changed."""


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
    planned_ms: int = 0
    """As it is written; a fallback run may be another by what sensors asked for before."""


@dataclass(slots=True)
class SpaceState:
    """All that is remembered of a space. Times are monotonic milliseconds."""

    estimates: dict[Quantity, Estimate] = field(default_factory=dict)
    intake: IntakeAir = field(default_factory=IntakeAir)
    mist: MistState = field(default_factory=MistState)
    air: AirState = field(default_factory=AirState)
    delivered: Delivered = field(default_factory=Delivered)
    heat: DutyState = field(default_factory=DutyState)
    cool: DutyState = field(default_factory=DutyState)
    stir: StirState = field(default_factory=StirState)
    pending: dict[str, Pending] = field(default_factory=dict)
    """By relay."""
    light_on: bool = False
    light_from_wall_ms: int = 0
    light_to_wall_ms: int = 0
    """`light_on` holds between these two."""
    decided_ms: int = 0
    looked_ms: dict[Quantity, int] = field(default_factory=dict)
    """When a reading of each quantity was last looked at by itself."""
    news_ms: int | None = None
    """News came too soon after the last look: it is looked at then."""
    modes: dict[Role, Reason] = field(default_factory=dict)
    """The story last told of each controller."""


# --- what is known -------------------------------------------------------------------------------------


def refresh(
    plan: SpacePlan, state: SpaceState, sensors: Mapping[str, SensorState], quantity: Quantity, mono_ms: int
) -> None:
    """Renews the estimate of one quantity from the sensors that may steer at this moment."""
    own = plan.sensors.get(quantity)
    if not own:
        return
    samples = [sample for sample in (_sample(sensor, sensors[sensor.id]) for sensor in own) if sample]
    if samples:
        rule = plan.settings.combine.get(quantity) or DEFAULT_COMBINE[quantity]
        state.estimates[quantity] = combined(rule, samples)
    else:
        state.estimates[quantity] = without(state.estimates.get(quantity) or Estimate(), mono_ms)


def _sample(sensor: SensorSettings, state: SensorState) -> Sample | None:
    if not drives(state) or state.good_value is None:
        return None
    sure = sensor.calibrated if state.calibrated is None else state.calibrated
    error = sensor.error if state.error is None else state.error
    return Sample(sensor.id, state.good_value, state.good_ms, state.good_seq, sure, float(error))


def refresh_intake(plan: SpacePlan, state: SpaceState, sensors: Mapping[str, SensorState]) -> None:
    """Renews what is believed of the air outside, from intake sensors or the settings."""
    told = plan.settings.intake
    values = {quantity: _mean(plan.intake[quantity], sensors) for quantity in AIR_QUANTITIES}
    temperature = values[Quantity.TEMPERATURE]
    if temperature is None:
        temperature = told.temperature_c if told.temperature_c is not None else plan.assumed_c
    humidity = values[Quantity.HUMIDITY]
    if humidity is None:
        humidity = told.humidity_pct if told.humidity_pct is not None else ASSUMED_INTAKE_PCT
    humidity = min(max(humidity, 1.0), 100.0)
    co2 = values[Quantity.CO2]
    state.intake = IntakeAir(
        temperature_c=float(temperature),
        ratio=humidity_ratio(temperature, humidity),
        dew_c=dew_point_c(temperature, humidity),
        co2_ppm=float(told.co2_ppm if co2 is None else co2),
    )


def _mean(own: tuple[SensorSettings, ...], sensors: Mapping[str, SensorState]) -> float | None:
    values = [value for value in (_good(sensors[sensor.id]) for sensor in own) if value is not None]
    return sum(values) / len(values) if values else None


def _good(state: SensorState) -> float | None:
    return state.good_value if drives(state) else None


def look(plan: SpacePlan, state: SpaceState, relays: Mapping[str, RelayState]) -> Inside:
    """The air inside and what moves it, at the moment of the last look."""
    none = NOTHING
    temperature = state.estimates.get(Quantity.TEMPERATURE) or none
    intake = state.intake
    return Inside(
        humidity=state.estimates.get(Quantity.HUMIDITY) or none,
        temperature=temperature,
        co2=state.estimates.get(Quantity.CO2) or none,
        temperature_c=plan.assumed_c if temperature.value is None else temperature.value,
        intake_c=intake.temperature_c,
        intake_ratio=intake.ratio,
        intake_dew_c=intake.dew_c,
        intake_co2_ppm=intake.co2_ppm,
        fan_m3_per_h=sum(flow for relay, flow in plan.flows if relays[relay].on),
        fan_left_ms=_fan_left_ms(plan, relays, state.decided_ms),
        cold=_is_cold(plan, temperature, intake),
        mono_ms=state.decided_ms,
    )


def _fan_left_ms(plan: SpacePlan, relays: Mapping[str, RelayState], mono_ms: int) -> int:
    ends = [relays[relay].run_end or relays[relay].lease_end for relay, _ in plan.flows if relays[relay].on]
    return max((end - mono_ms for end in ends if end is not None), default=0)


def _is_cold(plan: SpacePlan, temperature: Estimate, intake: IntakeAir) -> bool:
    band = plan.settings.bands.get(Quantity.TEMPERATURE)
    if band is None or temperature.value is None:
        return False
    return is_below(band, temperature.value) and intake.temperature_c < temperature.value


# --- what is asked -------------------------------------------------------------------------------------


def rests(state: SpaceState, quantity: Quantity, mono_ms: int) -> bool:
    """Whether news of a quantity comes too soon after the last look at it, and waits."""
    last_ms = state.looked_ms.get(quantity)
    if last_ms is not None and mono_ms - last_ms < REST_MS:
        if state.news_ms is None:
            # Counted from the last look at anything: readings may come a little behind the clock.
            state.news_ms = max(last_ms, state.decided_ms) + REST_MS
        return True
    state.looked_ms[quantity] = mono_ms
    return False


def asks(  # six arguments: at every reading, so nothing is made to carry them
    plan: SpacePlan,
    state: SpaceState,
    relays: Mapping[str, RelayState],
    now: Instant,
    farm: FarmSettings,
    quantity: Quantity | None = None,
) -> list[Ask]:
    """The ask of every relay of the space that the news concerns. Moves those controllers to `now`.

    Args:
        quantity: the one estimate that is new; None: look at everything.
    """
    mono_ms = now.mono_ms
    state.decided_ms = mono_ms
    if state.news_ms is not None and mono_ms >= state.news_ms:
        quantity = None
    if quantity is None:
        state.news_ms = None
    for own, estimate in state.estimates.items():
        if estimate.held and mono_ms - estimate.mono_ms >= HOLD_MS:
            state.estimates[own] = Estimate()
    wishes = _wishes(plan, state, relays, mono_ms, quantity) if plan.steers else {}
    if quantity is not None:
        return [_ask(relay, wish, state.pending.get(relay)) for relay, wish in wishes.items()]
    light = _light(plan, state, now, farm)
    if light is not None:
        wishes.update(dict.fromkeys(plan.by_role[Role.LIGHT], light))
    return [_ask(relay, wishes.get(relay), state.pending.get(relay)) for relay in plan.relays]


def _wishes(
    plan: SpacePlan,
    state: SpaceState,
    relays: Mapping[str, RelayState],
    mono_ms: int,
    quantity: Quantity | None,
) -> dict[str, Wish]:
    inside = look(plan, state, relays)
    follow(state.delivered, mono_ms, _driving(plan, state, inside), inside.fan_m3_per_h > 0.0)
    wishes: dict[str, Wish] = {}
    if plan.mist and quantity is not Quantity.CO2:
        wishes.update(mist(plan.mist, inside, state.mist, mono_ms))
    if plan.air and quantity is not Quantity.TEMPERATURE:
        air = fresh_air(plan.air, inside, state.air, mono_ms)
        for relay, _ in plan.flows:
            wishes[relay] = air
    if plan.stirs:
        known: dict[Quantity, Known] = dict(state.estimates)
        wishes.update(dict.fromkeys(plan.by_role[Role.CIRCULATION], stir(known, state.stir)))
    if quantity is None or quantity is Quantity.TEMPERATURE:
        if plan.heat:
            wishes.update(_by_duty(plan.by_role[Role.HEATER], plan.heat, inside, state.heat, relays))
        if plan.cool:
            wishes.update(_by_duty(plan.by_role[Role.COOLER], plan.cool, inside, state.cool, relays))
    return wishes


def _driving(plan: SpacePlan, state: SpaceState, inside: Inside) -> float | None:
    """How much more water the air holds than its intake, kg/kg; None while no sensor steers."""
    value = inside.humidity.value
    if value is None or inside.humidity.held:
        return None
    return humidity_ratio(inside.temperature_c, value) - inside.intake_ratio


def fallback_run_ms(plan: SpacePlan, state: SpaceState, programme: ProgrammeSettings, run_ms: int) -> int:
    """How long a fallback run should be, by what sensors asked for in the last good days."""
    every_ms = None if programme.every_min is None else programme.every_min * 60_000
    if programme.role is Role.FAN and plan.air:
        return fan_run_ms(state.delivered, run_ms, every_ms)
    band = plan.settings.bands.get(Quantity.HUMIDITY)
    if programme.role is not Role.MIST or plan.mist is None or band is None or band.low is None:
        return run_ms
    wanted = humidity_ratio(plan.assumed_c, band.low) - state.intake.ratio
    return mist_run_ms(state.delivered, run_ms, every_ms, plan.mist.litres_per_h, wanted)


def _by_duty(
    own: tuple[str, ...],
    plan: DutyPlan,
    inside: Inside,
    state: DutyState,
    relays: Mapping[str, RelayState],
) -> dict[str, Wish]:
    state.on = any(relays[relay].on for relay in own)
    return dict.fromkeys(own, duty(plan, inside, state, inside.mono_ms))


def _light(plan: SpacePlan, state: SpaceState, now: Instant, farm: FarmSettings) -> Wish | None:
    light = plan.settings.light
    if light is None or not plan.lit:
        return None
    if not state.light_from_wall_ms <= now.wall_ms < state.light_to_wall_ms:
        change = next_light_change_ms(light, now.wall_ms, farm.zone)
        state.light_on = light_wanted(light, now.wall_ms, farm.zone)
        state.light_from_wall_ms = now.wall_ms
        state.light_to_wall_ms = now.wall_ms + 86_400_000 if change is None else change
    facts: Facts = {"from_min": light.from_min, "hours": light.hours}
    reason = Reason.LIGHT_HOURS if state.light_on else Reason.OUT_OF_LIGHT
    return Wish(state.light_on, reason, None, (), facts)


def _ask(relay: str, wish: Wish | None, pending: Pending | None) -> Ask:
    """The strongest of what a controller wishes and what a programme has due."""
    if wish is not None and wish.on:
        authority = AUTHORITY.get(wish.reason, Authority.DEMAND)
        return Ask(relay, True, wish.run_ms, authority, wish.reason, wish.causes, wish.facts)
    if pending is not None:
        reason = Reason.FALLBACK_PROGRAMME if pending.fallback else Reason.PROGRAMME
        facts: dict[str, float | int | str | bool | None] = {
            "programme": pending.programme,
            "run_s": pending.run_ms / 1000,
        }
        if pending.run_ms != pending.planned_ms:
            facts["planned_s"] = pending.planned_ms / 1000
        return Ask(relay, True, pending.run_ms, Authority.SCHEDULE, reason, (pending.seq,), facts)
    if wish is None:
        return Ask(relay, False, None, Authority.DEFAULT, Reason.RUN_ENDED)
    return Ask(relay, False, None, Authority.DEMAND, wish.reason, wish.causes, wish.facts)


def given(plan: SpacePlan, state: SpaceState, command: Command, mono_ms: int, run_ms: int) -> None:
    """Takes note that a relay of the space was turned on for `run_ms`, whoever asked for it."""
    role = plan.relays.get(command.relay)
    if role is Role.MIST and plan.mist:
        litres_per_h = plan.mist.litres_per_h / len(plan.mist.relays)
        state.delivered.litres += litres_per_h * run_ms / HOUR_MS
        mist_given(plan.mist, state.mist, command.relay, mono_ms, run_ms)
    if role is Role.FAN and plan.air:
        air_given(plan.air, state.air, command.reason, mono_ms, run_ms)


def steered(state: SpaceState, role: Role) -> bool:
    """Whether a good value steers the role, so that its fallback programme may rest."""
    quantity = STEERED_BY.get(role)
    estimate = state.estimates.get(quantity) if quantity else None
    return estimate is not None and estimate.steers


def steering(plan: SpacePlan, role: Role) -> tuple[SensorSettings, ...]:
    """The sensors whose good values make the role's fallback programme needless."""
    quantity = STEERED_BY.get(role)
    return plan.sensors[quantity] if quantity else ()


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
    moments: list[int | None] = [state.news_ms]
    if plan.steers:
        moments.append(state.decided_ms + LOOK_AGAIN_MS)
    if plan.mist:
        moments.append(mist_due_ms(plan.mist, state.mist))
    if plan.lit:
        moments.append(now.mono_ms + state.light_to_wall_ms - now.wall_ms)
    if state.pending:
        moments += [pending.until_ms for pending in state.pending.values()]
    for estimate in state.estimates.values():
        if estimate.held:
            moments.append(estimate.mono_ms + HOLD_MS)
    # What lay at or before the last look has been looked at; only something new can change the answer.
    return earliest([moment for moment in moments if moment is not None and moment > state.decided_ms])
