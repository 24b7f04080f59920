"""What goes wrong in the trial's night on purpose, and what invented people do about it.

In the evening somebody enters what a humidity sensor said in two salt jars that afternoon: it is corrected
from then on. A humidity board dies at 02:10 and is plugged in again; a door stays open from 04:00 to 04:25;
the water tank is empty for a while. Each gives an alarm, a fallback or a refusal that `night` and `why` can
then tell. A farm that lacks a part (no tank, no room with a door) is spared that chapter. The people are
invented, and say so.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from gillhouse.core.calibration import Point, calibration
from gillhouse.core.edges import SensorRoute
from gillhouse.core.inputs import Act, Calibrated, OperatorAction
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import FarmSettings, Role, SensorSettings, SpaceKind
from gillhouse.sim.boards import SensorBoard
from gillhouse.sim.plant import OUTSIDE_ZONES, House
from gillhouse.sim.score import Fault

START_HOUR = 20
"""Local hour at which the trial's night begins."""
WARM_UP_MS = 60_000
"""The daemon comes up this long before the night: each board has reported once by then, and nothing is due in
the very moment it starts."""
RECOVERY_MS = 30 * 60_000
"""What a space is given after a fault's end before its air is scored again."""
GROWER = "Ida (invented)"
HELPER = "Per (invented)"


@dataclass(slots=True)
class Stage:
    """What the story may touch."""

    house: House
    boards: Sequence[SensorBoard]
    act: Callable[[OperatorAction | Calibrated], object]
    """Does something a person does, through the daemon's own door."""
    alarms: Callable[[], Sequence[str]]
    """Ids of the alarms that stand just now, as the person sees them."""
    wall_ms: Callable[[], int]
    """The clock on the wall."""


@dataclass(frozen=True, slots=True)
class Moment:
    """One thing that happens."""

    at_ms: int
    what: str
    do: Callable[[Stage], None]


@dataclass(frozen=True, slots=True)
class Story:
    moments: tuple[Moment, ...]
    faults: tuple[Fault, ...]


def clock_ms(hour: int, minute: int) -> int:
    """A local time of the night as trial milliseconds (the trial's night has no clock change)."""
    return ((hour - START_HOUR) % 24 * 60 + minute) * 60_000 + WARM_UP_MS


def _note(space: str, who: str, text: str) -> Callable[[Stage], None]:
    return lambda stage: _act(stage, OperatorAction(Act.NOTE, space, who, text))


def _act(stage: Stage, action: OperatorAction | Calibrated) -> None:
    stage.act(action)


def _answer(stage: Stage, who: str, wanted: Sequence[str]) -> None:
    """Says "seen" to those of the alarms that stand."""
    standing = stage.alarms()
    for alarm in wanted:
        if alarm in standing:
            _act(stage, OperatorAction(Act.ACK, alarm, who))


def _power(topic: str, alive: bool) -> Callable[[Stage], None]:
    def do(stage: Stage) -> None:
        for board in stage.boards:
            if board.topic == topic:
                board.alive = alive

    return do


def _dead_board(farm: FarmSettings, routes: Sequence[SensorRoute]) -> Story:
    """A tent's humidity board goes dark, and is found."""
    route = _steering_humidity(farm, routes)
    if route is None:
        return Story((), ())
    space = farm.sensors[route.sensor].space
    assert space is not None
    fault = Fault(space, f"board on {route.topic} dead", clock_ms(2, 10), clock_ms(3, 5) + RECOVERY_MS)
    same_board = tuple(f"sensor-silent:{r.sensor}" for r in routes if r.topic == route.topic)
    return Story(
        (
            Moment(clock_ms(2, 10), f"the board on {route.topic} dies", _power(route.topic, False)),
            Moment(
                clock_ms(2, 31),
                f"{HELPER} answers the call",
                lambda stage: _answer(stage, HELPER, same_board),
            ),
            Moment(clock_ms(3, 5), f"{HELPER} plugs the board in again", _power(route.topic, True)),
            Moment(
                clock_ms(3, 6),
                "a note is written",
                _note(space, HELPER, "humidity board had lost its plug, pushed it in again"),
            ),
        ),
        (fault,),
    )


def _steering_humidity(farm: FarmSettings, routes: Sequence[SensorRoute]) -> SensorRoute | None:
    """The humidity sensor of a tent (or else of a room) that the night can best do without."""
    inside = [
        route
        for route in routes
        if route.quantity is Quantity.HUMIDITY
        and farm.sensors[route.sensor].zone not in OUTSIDE_ZONES
        and farm.sensors[route.sensor].space is not None
    ]
    for kind in (SpaceKind.TENT, SpaceKind.ROOM):
        for route in inside:
            space = farm.sensors[route.sensor].space
            if space is not None and farm.spaces[space].kind is kind:
                return route
    return None


def _open_door(farm: FarmSettings) -> Story:
    space = next((id for id, held in farm.spaces.items() if held.kind is SpaceKind.ROOM), None)
    if space is None:
        return Story((), ())
    begin, end = clock_ms(4, 0), clock_ms(4, 25)
    note = _note(space, GROWER, "door had not latched, it stood open; shut it")
    return Story(
        (
            Moment(begin, f"the door of {space} is left open", lambda stage: _door(stage, space, True)),
            Moment(end, f"{GROWER} shuts it", lambda stage: _door(stage, space, False)),
            Moment(clock_ms(4, 26), "a note is written", note),
        ),
        (Fault(space, "door left open", begin, end + RECOVERY_MS),),
    )


def _door(stage: Stage, space: str, is_open: bool) -> None:
    stage.house.open_door(space, is_open, stage.house.at_ms)


def _empty_tank(farm: FarmSettings) -> Story:
    tanks = [id for id, sensor in farm.sensors.items() if sensor.quantity is Quantity.TANK]
    if not tanks:
        return Story((), ())
    tank = tanks[0]
    begin, end = clock_ms(5, 30), clock_ms(5, 50)
    thirsty = _fed_by(farm, tank)
    moments = [
        Moment(begin, f"the tank of {tank} runs empty", lambda stage: _tank(stage, tank, False)),
        Moment(end, f"{GROWER} fills it", lambda stage: _tank(stage, tank, True)),
    ]
    if thirsty:
        note = _note(thirsty[0], GROWER, "float valve stuck, tank filled")
        moments.append(Moment(clock_ms(5, 51), "a note is written", note))
    return Story(
        tuple(moments),
        tuple(Fault(space, "tank empty", begin, end + RECOVERY_MS) for space in thirsty),
    )


def _tank(stage: Stage, tank: str, full: bool) -> None:
    stage.house.fill_tank(tank, full, stage.house.at_ms)


def _fed_by(farm: FarmSettings, tank: str) -> list[str]:
    """Spaces whose mist comes from `tank`."""
    pumps = {valve: farm.relays[held.pump].tank for held in farm.supplies.values() for valve in held.valves}
    fed = []
    for space in farm.spaces:
        mists = [relay for relay in farm.relays.values() if relay.role is Role.MIST and relay.space == space]
        if any(tank in (relay.tank, pumps.get(relay.id)) for relay in mists):
            fed.append(space)
    return fed


JARS = (("table salt", 75.5, 0.22), ("potassium sulfate", 97.6, 0.76))
"""Salt, percent over it at 20 C and how sure that is (Greenspan, J. Res. NBS 81A:89, 1977)."""


def _salt_jars(farm: FarmSettings) -> Story:
    """A room's humidity sensor was in two salt jars that afternoon; its figures are entered after supper."""
    sensor = next((one for one in farm.sensors.values() if _of_a_room(farm, one)), None)
    if sensor is None:
        return Story((), ())
    name, space = sensor.id, sensor.space
    assert space is not None  # _of_a_room took only those of a room
    note = _note(space, GROWER, f"{name} back in its place, its figures from the salt jars entered")
    return Story(
        (
            Moment(clock_ms(20, 40), f"{name} is corrected", lambda stage: _enter_jars(stage, name)),
            Moment(clock_ms(20, 41), "a note is written", note),
        ),
        (),
    )


def _of_a_room(farm: FarmSettings, sensor: SensorSettings) -> bool:
    return (
        sensor.quantity is Quantity.HUMIDITY
        and sensor.zone not in OUTSIDE_ZONES
        and sensor.space is not None
        and farm.spaces[sensor.space].kind is SpaceKind.ROOM
    )


def _enter_jars(stage: Stage, name: str) -> None:
    """What a jar shows is the sensor's own error: the grower knows nothing else of it."""
    sensor = next(board.sensors[name] for board in stage.boards if name in board.sensors)
    now_ms = stage.wall_ms()
    points = [
        Point(pct, round(pct + sensor.bias, 1), error, f"{salt} at 20 C", now_ms) for salt, pct, error in JARS
    ]
    _act(stage, Calibrated(name, calibration(Quantity.HUMIDITY, points, now_ms, GROWER), GROWER))


def _evening(farm: FarmSettings) -> Story:
    space = next(iter(farm.spaces))
    note = _note(space, GROWER, "evening round done, all shut")
    return Story((Moment(clock_ms(21, 15), "a note is written", note),), ())


def story_of(farm: FarmSettings, routes: Sequence[SensorRoute]) -> Story:
    """The night's story for this farm, in order of time."""
    chapters = (
        _evening(farm),
        _salt_jars(farm),
        _dead_board(farm, routes),
        _open_door(farm),
        _empty_tank(farm),
    )
    moments = sorted((m for chapter in chapters for m in chapter.moments), key=lambda m: m.at_ms)
    return Story(tuple(moments), tuple(f for chapter in chapters for f in chapter.faults))
