"""What goes wrong in the trial's night on purpose, and what invented people do about it.

In the evening the batches are written into the book, and the room's, which was picked, goes to rest: its air
changes over hours. Somebody enters what a humidity sensor said in two salt jars that afternoon: it is
corrected from then on. Somebody means well and runs the tent's mist by hand: its caps are wet for a while. A
humidity board dies at 02:10 and is plugged in again; a door stays open from 04:00 to 04:25;
the water tank is empty for a while. Each gives an alarm, a fallback or a refusal that `night` and `why` can
then tell. A farm that lacks a part (no tank, no room with a door) is spared that chapter. The people are
invented, and say so.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from gillhouse.core.calibration import Point, calibration
from gillhouse.core.crops import Band, Stage
from gillhouse.core.edges import SensorRoute
from gillhouse.core.inputs import Act, BatchAct, BatchAction, Calibrated, OperatorAction
from gillhouse.core.quantities import Quantity
from gillhouse.core.ramps import STEP_MS
from gillhouse.core.settings import (
    FarmSettings,
    RelaySettings,
    Role,
    SensorSettings,
    SpaceKind,
    SpaceSettings,
)
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


Deed = OperatorAction | BatchAction | Calibrated


@dataclass(slots=True)
class Scene:
    """What the story may touch."""

    house: House
    boards: Sequence[SensorBoard]
    act: Callable[[Deed], object]
    """Does something a person does, through the daemon's own door."""
    alarms: Callable[[], Sequence[str]]
    """Ids of the alarms that stand just now, as the person sees them."""
    bands: Callable[[str], Mapping[Quantity, Band]]
    """What a space is held for just now, as the daemon tells it."""
    wall_ms: Callable[[], int]
    """The clock on the wall."""


@dataclass(frozen=True, slots=True)
class Moment:
    """One thing that happens."""

    at_ms: int
    what: str
    do: Callable[[Scene], None]


@dataclass(frozen=True, slots=True)
class Story:
    moments: tuple[Moment, ...]
    faults: tuple[Fault, ...]


def clock_ms(hour: int, minute: int) -> int:
    """A local time of the night as trial milliseconds (the trial's night has no clock change)."""
    return ((hour - START_HOUR) % 24 * 60 + minute) * 60_000 + WARM_UP_MS


def _note(space: str, who: str, text: str) -> Callable[[Scene], None]:
    return lambda scene: _act(scene, OperatorAction(Act.NOTE, space, who, text))


def _act(scene: Scene, action: Deed) -> None:
    scene.act(action)


def _answer(scene: Scene, who: str, wanted: Sequence[str]) -> None:
    """Says "seen" to those of the alarms that stand."""
    standing = scene.alarms()
    for alarm in wanted:
        if alarm in standing:
            _act(scene, OperatorAction(Act.ACK, alarm, who))


def _power(topic: str, alive: bool) -> Callable[[Scene], None]:
    def do(scene: Scene) -> None:
        for board in scene.boards:
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
                lambda scene: _answer(scene, HELPER, same_board),
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
            Moment(begin, f"the door of {space} is left open", lambda scene: _door(scene, space, True)),
            Moment(end, f"{GROWER} shuts it", lambda scene: _door(scene, space, False)),
            Moment(clock_ms(4, 26), "a note is written", note),
        ),
        (Fault(space, "door left open", begin, end + RECOVERY_MS),),
    )


def _door(scene: Scene, space: str, is_open: bool) -> None:
    scene.house.open_door(space, is_open, scene.house.at_ms)


def _empty_tank(farm: FarmSettings) -> Story:
    tanks = [id for id, sensor in farm.sensors.items() if sensor.quantity is Quantity.TANK]
    if not tanks:
        return Story((), ())
    tank = tanks[0]
    begin, end = clock_ms(5, 30), clock_ms(5, 50)
    thirsty = _fed_by(farm, tank)
    moments = [
        Moment(begin, f"the tank of {tank} runs empty", lambda scene: _tank(scene, tank, False)),
        Moment(end, f"{GROWER} fills it", lambda scene: _tank(scene, tank, True)),
    ]
    if thirsty:
        note = _note(thirsty[0], GROWER, "float valve stuck, tank filled")
        moments.append(Moment(clock_ms(5, 51), "a note is written", note))
    return Story(
        tuple(moments),
        tuple(Fault(space, "tank empty", begin, end + RECOVERY_MS) for space in thirsty),
    )


def _tank(scene: Scene, tank: str, full: bool) -> None:
    scene.house.fill_tank(tank, full, scene.house.at_ms)


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
            Moment(clock_ms(20, 40), f"{name} is corrected", lambda scene: _enter_jars(scene, name)),
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


def _enter_jars(scene: Scene, name: str) -> None:
    """What a jar shows is the sensor's own error: the grower knows nothing else of it."""
    sensor = next(board.sensors[name] for board in scene.boards if name in board.sensors)
    now_ms = scene.wall_ms()
    points = [
        Point(pct, round(pct + sensor.bias, 1), error, f"{salt} at 20 C", now_ms) for salt, pct, error in JARS
    ]
    _act(scene, Calibrated(name, calibration(Quantity.HUMIDITY, points, now_ms, GROWER), GROWER))


DAY_MS = 86_400_000
BOOKED = clock_ms(20, 5)
"""The batches are written into the book, each as its space says it stands there."""
FRUITING_DAYS = 5
"""So long they have been fruiting: as long as is usual for some."""
PICKED = clock_ms(20, 30)
BY_HAND = clock_ms(21, 45)
BY_HAND_MS = 10 * 60_000


def _batches(farm: FarmSettings) -> Story:
    """Every fruiting batch is entered; the first room's was picked today and goes to rest.

    Its blocks breathe on as before: a night changes them little. Its score follows the daemon's bands.
    """
    grown = [space for space in farm.spaces.values() if _fruits(farm, space) and space.kind in _CLOSED]
    moments = [
        Moment(BOOKED + place * 1_000, f"{_batch(space)} is entered", _enter(space))
        for place, space in enumerate(grown)
    ]
    room = next((space for space in grown if space.kind is SpaceKind.ROOM), None)
    if room is not None and Stage.REST in farm.species[room.species].stages:
        words = "first flush picked"
        picked = BatchAction(BatchAct.STAGE, _batch(room), GROWER, stage=Stage.REST, text=words)
        moments.append(Moment(PICKED, f"{_batch(room)} goes to rest", lambda scene: _act(scene, picked)))
        moments += [
            Moment(
                PICKED + step * STEP_MS + 1_000,
                f"the wished air of {room.id} moves on",
                lambda scene: _follow(scene, room.id),
            )
            for step in range(DAY_MS // STEP_MS)
        ]
    return Story(tuple(moments), ())


_CLOSED = (SpaceKind.ROOM, SpaceKind.TENT)


def _fruits(farm: FarmSettings, space: SpaceSettings) -> bool:
    return space.stage is Stage.FRUITING and space.species in farm.species and space.crop_kg > 0.0


def _batch(space: SpaceSettings) -> str:
    """Such as lm-1, of lion's mane."""
    return "".join(word[0] for word in space.species.split("-")) + "-1"


def _enter(space: SpaceSettings) -> Callable[[Scene], None]:
    def do(scene: Scene) -> None:
        begun_ms = scene.wall_ms() - FRUITING_DAYS * DAY_MS
        _act(
            scene,
            BatchAction(
                BatchAct.ADD,
                _batch(space),
                GROWER,
                begun_ms,
                species=space.species,
                stage=space.stage,
                kg=space.crop_kg,
                space=space.id,
            ),
        )

    return do


def _follow(scene: Scene, space: str) -> None:
    """The score goes by what the space is held for."""
    score = scene.house.places[space].score
    if score is not None:
        score.bands = scene.bands(space)


def _by_hand(farm: FarmSettings) -> Story:
    """Somebody runs a tent's mist by hand until the caps drip."""
    valve = next((one for one in farm.relays.values() if _mists_a_tent(farm, one)), None)
    if valve is None or valve.space is None:
        return Story((), ())
    asked = OperatorAction(Act.OVERRIDE, valve.id, HELPER, "looked dry to me", on=True, for_ms=BY_HAND_MS)
    end = BY_HAND + BY_HAND_MS
    return Story(
        (Moment(BY_HAND, f"{HELPER} runs {valve.id} by hand", lambda scene: _act(scene, asked)),),
        (Fault(valve.space, "mist run by hand", BY_HAND, end + RECOVERY_MS),),
    )


def _mists_a_tent(farm: FarmSettings, relay: RelaySettings) -> bool:
    return (
        relay.role is Role.MIST
        and relay.space is not None
        and farm.spaces[relay.space].kind is SpaceKind.TENT
    )


def _evening(farm: FarmSettings) -> Story:
    space = next(iter(farm.spaces))
    note = _note(space, GROWER, "evening round done, all shut")
    small = tuple(f"at-capacity:{space}" for space in farm.spaces)
    return Story(
        (
            Moment(
                clock_ms(20, 25),
                f"{GROWER} has seen what is too small for this air",
                lambda scene: _answer(scene, GROWER, small),
            ),
            Moment(clock_ms(21, 15), "a note is written", note),
        ),
        (),
    )


def story_of(farm: FarmSettings, routes: Sequence[SensorRoute]) -> Story:
    """The night's story for this farm, in order of time."""
    chapters = (
        _batches(farm),
        _evening(farm),
        _by_hand(farm),
        _salt_jars(farm),
        _dead_board(farm, routes),
        _open_door(farm),
        _empty_tank(farm),
    )
    moments = sorted((m for chapter in chapters for m in chapter.moments), key=lambda m: m.at_ms)
    return Story(tuple(moments), tuple(f for chapter in chapters for f in chapter.faults))
