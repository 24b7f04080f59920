"""The whole farm as the core holds it: the plan made from the settings, and the state that a snapshot keeps.

Nothing here decides. `Plan` is worked out again from any settings; `State` is everything else, so that a
farm restored from a snapshot goes on to the same bytes.
"""

from dataclasses import dataclass, field

from gillhouse.core.alarm import AlarmBook
from gillhouse.core.asks import Ask, RelayState
from gillhouse.core.batches import CropState
from gillhouse.core.breathed import Breathed
from gillhouse.core.call_state import CallState
from gillhouse.core.caps import Caps
from gillhouse.core.effect import Accounts
from gillhouse.core.found import Found
from gillhouse.core.guard_plan import GuardPlan, guard_plan
from gillhouse.core.guard_state import Guards
from gillhouse.core.in_force import in_force
from gillhouse.core.inputs import Link
from gillhouse.core.kind_limits import not_air
from gillhouse.core.lines import LineState, chills, line_sensors
from gillhouse.core.measurement import Measurement
from gillhouse.core.modes import ModeState, Recovery, Stays
from gillhouse.core.outputs import Command
from gillhouse.core.quality import SensorState
from gillhouse.core.quantities import Quantity
from gillhouse.core.reach import Reach
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import FarmSettings, SensorSettings, SpaceKind
from gillhouse.core.shadow import ShadowState
from gillhouse.core.space import SpaceState, refresh_intake
from gillhouse.core.space_plan import OUTSIDE_ZONES, SpacePlan, plan_space
from gillhouse.core.step_test import RunState
from gillhouse.core.truth import Truth


@dataclass(slots=True)
class Override:
    """A named person's wish for a relay; it always ends."""

    on: bool
    until_ms: int
    who: str
    seq: int
    why: str = ""
    outweighed: Reason | None = None
    """Something stronger goes against it, and that was told."""


@dataclass(slots=True)
class LinkState:
    up: bool = True
    since_ms: int = 0
    detail: str = ""
    heard: bool = True
    """False: nothing was heard of it since the start; taken to be up, and no alarm of it begins or ends."""


@dataclass(slots=True)
class State:
    """All that is remembered. Times are monotonic milliseconds."""

    mono_ms: int = 0
    wall_ms: int = 0
    """Of the last input."""
    sensors: dict[str, SensorState] = field(default_factory=dict)
    spaces: dict[str, SpaceState] = field(default_factory=dict)
    relays: dict[str, RelayState] = field(default_factory=dict)
    asks: dict[str, Ask] = field(default_factory=dict)
    """The standing ask of every relay, before overrides."""
    overrides: dict[str, Override] = field(default_factory=dict)
    links: dict[Link, LinkState] = field(default_factory=dict)
    watching: dict[str, bool | None] = field(default_factory=dict)
    """What the alarm book was last told, by alarm (`kind:subject`)."""
    book: AlarmBook = field(default_factory=AlarmBook)
    truth: Truth = field(default_factory=Truth)
    """Corrections of sensors, and who has taken one out of its place."""
    found: Found = field(default_factory=Found)
    """What the sensors say of each other and of themselves."""
    runs: dict[str, RunState] = field(default_factory=dict)
    """Measuring runs, by space."""
    measured: dict[str, Measurement] = field(default_factory=dict)
    """Figures that stand in for labels, by space."""
    crops: CropState = field(default_factory=CropState)
    fan_shares: dict[str, float] = field(default_factory=dict)
    """What a space's fans count as, of their labels, where the learnt figure has taken over."""
    shadows: dict[str, ShadowState] = field(default_factory=dict)
    """What is learnt beside the labels, by space."""
    effects: Accounts = field(default_factory=Accounts)
    """Whether mist and fans show in the air."""
    lines: dict[str, LineState] = field(default_factory=dict)
    """Of water, by mist or pump relay."""
    caps: dict[str, Caps] = field(default_factory=dict)
    """Water on the caps of open spaces, by space."""
    reach: dict[str, Reach] = field(default_factory=dict)
    """How humid open spaces came of late, by space."""
    modes: dict[str, ModeState] = field(default_factory=dict)
    """By space (`modes.WHOLE_FARM` for all): what it is in besides growing. See `modes.mode_of`."""
    stays: dict[str, Stays] = field(default_factory=dict)
    """By space: people inside."""
    breathed: dict[str, Breathed] = field(default_factory=dict)
    """By space: the air people breathed there."""
    harvests: dict[str, Caps] = field(default_factory=dict)
    """By closed space that is being picked: water on its caps."""
    recovering: dict[str, Recovery] = field(default_factory=dict)
    """By space that was picked: mist brings its air back."""
    kept_ms: int = 0
    """Modes were last looked at then."""
    calls: CallState = field(default_factory=CallState)
    """Who was called for what, and what waits."""
    guards: Guards = field(default_factory=Guards)
    """Of the inputs that protect."""
    parting: list[Command] = field(default_factory=list)
    """OFF for relays that a config re-read took away, said with the next input."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What follows from the settings, and from the batches that stand in the spaces."""

    given: FarmSettings
    """As the config has them."""
    settings: FarmSettings
    """In force: every space as its batches want it now."""
    spaces: dict[str, SpacePlan]
    sensor_space: dict[str, str]
    """Sensor -> the space whose air it measures (not intake, not switches of the whole farm)."""
    outside: dict[str, tuple[str, ...]]
    """Intake or outdoor sensor -> the spaces that draw that air."""
    relay_space: dict[str, str]
    """Relay -> the space that asks for it."""
    switches: dict[Quantity, dict[str, tuple[str, ...]]]
    """On/off inputs: quantity -> space -> its sensors."""
    sharing: frozenset[str]
    """Spaces with a damper or valve of shared equipment."""
    line_sensors: dict[str, tuple[str, ...]]
    """Mist or pump relay -> thermometers that say whether its water may freeze."""
    chills: dict[str, tuple[str, ...]]
    """The same the other way round."""
    guard: GuardPlan
    """Which input protects what."""


def _drawn_by(spaces: dict[str, SpacePlan], sensor: SensorSettings) -> tuple[str, ...]:
    return tuple(
        space
        for space, plan in spaces.items()
        if any(own.id == sensor.id for own in plan.intake.get(sensor.quantity, ()))
    )


def make_plan(given: FarmSettings, crops: CropState) -> Plan:
    """The plan that follows from the config's settings and the batches."""
    settings = in_force(given, crops)
    spaces = {space.id: plan_space(settings, space) for space in settings.spaces.values()}
    switches: dict[Quantity, dict[str, tuple[str, ...]]] = {Quantity.DOOR: {}, Quantity.PEOPLE: {}}
    for sensor in settings.sensors.values():
        if sensor.quantity in switches and sensor.space is not None:
            own = switches[sensor.quantity]
            own[sensor.space] = (*own.get(sensor.space, ()), sensor.id)
    leaders = [valve for supply in settings.supplies.values() for valve in supply.valves]
    leaders += [damper for shared in settings.shared_air.values() for damper in shared.dampers.values()]
    relay_space = {relay: space for space, plan in spaces.items() for relay in plan.relays}
    thermometers = line_sensors(settings)
    return Plan(
        given=given,
        settings=settings,
        spaces=spaces,
        sensor_space={
            sensor.id: sensor.space
            for sensor in settings.sensors.values()
            if sensor.space is not None and sensor.zone not in OUTSIDE_ZONES and not not_air(sensor)
        },
        outside={
            sensor.id: _drawn_by(spaces, sensor)
            for sensor in settings.sensors.values()
            if (sensor.space is None or sensor.zone in OUTSIDE_ZONES) and not not_air(sensor)
        },
        relay_space=relay_space,
        switches=switches,
        sharing=frozenset(relay_space[leader] for leader in leaders if leader in relay_space),
        line_sensors=thermometers,
        chills=chills(thermometers),
        guard=guard_plan(settings),
    )


def restarted(old: SpaceState, mono_ms: int) -> SpaceState:
    """A space after a start: what was learnt stays, monotonic time begins anew at `mono_ms`."""
    fresh = SpaceState(decided_ms=mono_ms)
    fresh.mist.air.useful.value = old.mist.air.useful.value
    fresh.mist.air.fan.value = old.mist.air.fan.value
    fresh.mist.swing_pct = old.mist.swing_pct
    fresh.air.drop_ppm = old.air.drop_ppm
    fresh.heat.trim, fresh.cool.trim = old.heat.trim, old.cool.trim
    for controller in (fresh.air, fresh.heat, fresh.cool):
        controller.last_ms = mono_ms
    return fresh


def fit(plan: Plan, state: State) -> None:
    """Gives state to what the settings name and drops what they no longer name. Same ids keep theirs."""
    settings = plan.settings
    state.book.settle(settings.alarms)
    state.sensors = {
        sensor: state.sensors.get(sensor) or SensorState(heard_ms=state.mono_ms)
        for sensor in settings.sensors
    }
    state.spaces = {space: state.spaces.get(space) or SpaceState() for space in settings.spaces}
    state.relays = {relay: state.relays.get(relay) or RelayState() for relay in settings.relays}
    state.lines = {relay: state.lines.get(relay) or LineState() for relay in plan.line_sensors}
    opens = [space.id for space in settings.spaces.values() if space.kind is SpaceKind.OPEN]
    state.caps = {space: state.caps.get(space) or Caps() for space in opens}
    state.reach = {space: state.reach.get(space) or Reach() for space in opens}
    state.overrides = {relay: held for relay, held in state.overrides.items() if relay in settings.relays}
    state.asks = {relay: ask for relay, ask in state.asks.items() if relay in plan.relay_space}
    state.modes = {space: one for space, one in state.modes.items() if not space or space in settings.spaces}
    for kept in (state.stays, state.breathed, state.harvests, state.recovering):
        for gone in [name for name in kept if name not in settings.spaces]:
            del kept[gone]
    for space in plan.spaces.values():
        known = state.spaces[space.settings.id]
        known.pending = {relay: run for relay, run in known.pending.items() if relay in space.relays}
        refresh_intake(space, known, state.sensors)
    for link in Link:
        state.links.setdefault(link, LinkState())
