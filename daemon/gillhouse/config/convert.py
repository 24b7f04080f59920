"""A sound draft -> the core's frozen settings. Units and defaults are settled here; nothing is judged."""

from collections.abc import Mapping
from datetime import datetime, tzinfo

from gillhouse.config import farm_file as ff
from gillhouse.config import guards
from gillhouse.config import wire_file as wf
from gillhouse.config.crops_here import met_here, shares
from gillhouse.config.draft import Draft
from gillhouse.config.species_file import BANDS, EDGES, set_by
from gillhouse.core.bands_meet import CropHere, Met
from gillhouse.core.crops import Band, Species
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import (
    AlarmSettings,
    FarmSettings,
    HoseSettings,
    IntakeSettings,
    LightSettings,
    LimitTiming,
    OwnFigures,
    ProgrammeSettings,
    RelaySettings,
    Role,
    SafeAir,
    SafeAirBy,
    SensorSettings,
    SharedAirSettings,
    SpaceKind,
    SpaceSettings,
    SupplySettings,
    WaterSettings,
)

LEAST_SILENCE_MS = 120_000

TIMING: dict[Quantity, LimitTiming] = {
    # Starting values of our own: a deadband at least twice a cheap sensor's noise, delays in the range an
    # open implementation of ASHRAE Guideline 36 uses for rooms (10 min).
    Quantity.HUMIDITY: LimitTiming(3.0, 600_000, 300_000),
    Quantity.TEMPERATURE: LimitTiming(0.5, 600_000, 120_000),
    Quantity.CO2: LimitTiming(100.0, 600_000, 300_000),
}


def farm_settings(
    draft: Draft, farm: ff.FarmGroup, species: Mapping[str, Species], digest: str
) -> FarmSettings:
    """The settings of `draft`, in which no mistake is left. `species` holds every species a space grows."""
    return FarmSettings(
        name=farm.name,
        zone=farm.zone,
        latitude_deg=farm.latitude,
        spaces={
            ident: _space(ident, space, *found, draft.sheet.name)
            for ident, space in draft.spaces.items()
            if (found := met_here(space, species))
        },
        sensors={ident: _sensor(farm.zone, ident, sensor) for ident, sensor in draft.sensors.items()},
        relays={ident: _relay(draft, farm, ident, relay) for ident, relay in draft.relays.items()},
        programmes={ident: _programme(ident, programme) for ident, programme in draft.programmes.items()},
        alarms=_alarms(draft.alarms),
        supplies={
            ident: SupplySettings(ident, supply.pump, supply.valves, supply.most_at_once)
            for ident, supply in draft.supplies.items()
        },
        shared_air={
            ident: SharedAirSettings(ident, air.fan, dict(air.dampers))
            for ident, air in draft.shared_air.items()
        },
        species=dict(species),
        water=WaterSettings(
            draft.water.drain_below, draft.water.hardness, draft.water.stood, draft.water.flush
        ),
        safety=guards.safety(draft),
        statements=guards.statements(draft),
        digest=digest,
    )


def _space(ident: str, space: ff.SpaceGroup, first: CropHere, met: Met, file: str) -> SpaceSettings:
    aired = space.kind is not SpaceKind.OPEN
    floor = met.fresh_air_ach if aired else 0.0
    wish = met.light
    return SpaceSettings(
        id=ident,
        name=space.name,
        kind=space.kind,
        walk_in=space.walk_in,
        volume_m3=space.volume_m3,
        species=first.species,
        stage=first.stage,
        crop_kg=sum(crop.kg for crop in shares(space)),
        bands={
            quantity: _band(getattr(space.bands, name), met.bands[quantity], file)
            for name, quantity in BANDS.items()
        },
        fresh_air_ach=floor if space.least_fresh_air_per_h is None else space.least_fresh_air_per_h,
        intake=IntakeSettings(space.intake.temperature, space.intake.humidity, space.intake.co2),
        light=(
            None
            if space.light is None
            else LightSettings(
                space.light.start, wish.hours if space.light.hours is None else space.light.hours, wish
            )
        ),
        combine={quantity: getattr(space.combine, name) for name, quantity in BANDS.items()},
        leak_ach=space.leak_per_h,
        own=_own_figures(space, file),
        crops=shares(space),
        clashes=met.notes,
        fresh_air_m3_per_h=met.fresh_air_m3_per_h if aired else 0.0,
        block_core_c=met.block_core_c,
        hose=_hose(space.hose or ff.HoseGroup()),
        safe_air=_safe_air(space.safe_air),
    )


def _hose(hose: ff.HoseGroup) -> HoseSettings:
    return HoseSettings(hose.film, hose.spare, hose.call, hose.shelter)


def _safe_air(told: ff.SafeAirGroup | None) -> SafeAir | None:
    return None if told is None else SafeAir(told.min_per_h, SafeAirBy(told.by), told.tested)


def _own_figures(space: ff.SpaceGroup, file: str) -> OwnFigures:
    """The grower's figures alone, for batches of another crop or stage than the one written here."""
    given = {quantity: getattr(space.bands, name) for name, quantity in BANDS.items()}
    return OwnFigures(
        bands={
            quantity: Band(**{edge: getattr(own, edge) for edge in EDGES}, source=set_by([], None, file))
            for quantity, own in given.items()
            if any(getattr(own, edge) is not None for edge in EDGES)
        },
        fresh_air_ach=space.least_fresh_air_per_h,
        light_hours=None if space.light is None else space.light.hours,
    )


def _band(own: ff.BandGroup, shipped: Band, file: str) -> Band:
    """The grower's figures over the species file's, with a source that says which is whose."""
    mine = [edge for edge in EDGES if getattr(own, edge) is not None]
    if not mine:
        return shipped
    left = [edge for edge in EDGES if edge not in mine and getattr(shipped, edge) is not None]
    edges = {edge: getattr(own if edge in mine else shipped, edge) for edge in EDGES}
    return Band(**edges, source=set_by(mine, shipped.source if left else None, file))


def _sensor(zone: tzinfo, ident: str, sensor: wf.SensorGroup) -> SensorSettings:
    silent = sensor.silent_after
    return SensorSettings(
        id=ident,
        quantity=sensor.quantity,
        space=sensor.space,
        zone=sensor.zone,
        every_ms=sensor.every,
        silent_after_ms=max(13 * sensor.every // 4, LEAST_SILENCE_MS) if silent is None else silent,
        error=getattr(sensor, "error", 0.0),
        calibrated=getattr(sensor, "calibrated", False),
        self_calibrating=getattr(sensor, "self_calibrating", False),
        button=getattr(sensor, "button", False),
        pulses=getattr(sensor, "pulses", None),
        over=getattr(sensor, "over", None),
        on_change=sensor.on_change,
        since_wall_ms=None if sensor.since is None else _wall_ms(sensor.since, zone),
    )


def _wall_ms(local: datetime, zone: tzinfo) -> int:
    return round(local.replace(tzinfo=zone).timestamp() * 1000)


def _never_with(draft: Draft, ident: str, relay: wf.RelayGroup) -> tuple[str, ...]:
    """Both sides of every exclusion, and heater with cooler of one space, which never run together."""
    opposite = {"heater": "cooler", "cooler": "heater"}.get(relay.role)
    return tuple(
        other
        for other, each in draft.relays.items()
        if other in relay.never_with
        or ident in each.never_with
        or (each.role == opposite and each.space == relay.space)
    )


def _relay(draft: Draft, farm: ff.FarmGroup, ident: str, relay: wf.RelayGroup) -> RelaySettings:
    own_timer = relay.lease is not None
    role_only = {
        name: value
        for name, key in (
            ("daily_litres", "daily_litres"),
            ("litres_per_h", "litres_per_h"),
            ("air_m3_per_h", "air_m3_per_h"),
            ("tank", "tank"),
            ("hardness_mg_l", "hardness"),
            ("pulse_ms", "pulse"),
            ("pulse_gap_ms", "pulse_gap"),
        )
        if (value := getattr(relay, key, None)) is not None
    }
    return RelaySettings(
        id=ident,
        role=Role(relay.role),
        space=relay.space,
        advise_only=farm.advise_only if relay.advise_only is None else relay.advise_only,
        own_timer=own_timer,
        lease_ms=300_000 if relay.lease is None else relay.lease,
        least_on_ms=relay.least_on,
        least_off_ms=relay.least_off,
        longest_run_ms=relay.longest_run,
        rest_after_longest_ms=relay.rest,
        starts_per_h=relay.starts_per_h,
        watts=relay.watts,
        never_with=_never_with(draft, ident, relay),
        only_door_closed=relay.only_door_closed,
        not_with_people=relay.not_with_people,
        over_broker=relay.driver == "mqtt",
        echo_within_ms=_echo_within_ms(relay),
        **guards.of_relay(relay),
        **role_only,
    )


def _echo_within_ms(relay: wf.RelayGroup) -> int | None:
    """A Modbus coil is read back; a pin's own level says nothing of the contact behind it."""
    if relay.modbus:
        return relay.modbus.within
    return relay.state.within if relay.state else None


def _programme(ident: str, programme: ff.ProgrammeGroup) -> ProgrammeSettings:
    return ProgrammeSettings(
        id=ident,
        space=programme.space,
        role=programme.role,
        run_ms=programme.run,
        night_run_ms=programme.run if programme.night_run is None else programme.night_run,
        when=programme.when,
        every_min=None if programme.every is None else programme.every // 60_000,
        cron=programme.at,
        day_from_min=programme.day.start,
        day_to_min=programme.day.end,
    )


def _alarms(alarms: ff.AlarmsGroup) -> AlarmSettings:
    as_new = (alarms.as_new.wakes, alarms.as_new.high, alarms.as_new.daytime)
    return AlarmSettings(
        timing={
            quantity: _timing(getattr(alarms, name), TIMING[quantity]) for name, quantity in BANDS.items()
        },
        repeat_ms={1: alarms.repeat.wakes, 2: alarms.repeat.high, 3: alarms.repeat.daytime},
        realarm_ms={priority: after for priority, after in enumerate(as_new, 1) if after is not None},
        broker_grace_ms=alarms.broker_grace,
        store_grace_ms=alarms.store_grace,
        door_open_ms=alarms.door_open,
    )


def _timing(own: ff.TimingGroup, usual: LimitTiming) -> LimitTiming:
    return LimitTiming(
        usual.deadband if own.deadband is None else own.deadband,
        usual.on_delay_ms if own.on_delay is None else own.on_delay,
        usual.off_delay_ms if own.off_delay is None else own.off_delay,
    )
