"""What is allowed and yet worth a second look. One function a subject; each gives whole sentences."""

from collections.abc import Iterator

from gillhouse.config import farm_file as ff
from gillhouse.config import people_file as pf
from gillhouse.config import wire_file as wf
from gillhouse.config.checks import OUTSIDE, measured
from gillhouse.config.crops_here import entries
from gillhouse.config.draft import Draft
from gillhouse.config.edges import is_loopback
from gillhouse.core.bands_meet import explain
from gillhouse.core.crops import Stage
from gillhouse.core.edges import WAKES
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import CORE_ZONE, FarmSettings, SpaceKind


def warnings(draft: Draft) -> tuple[str, ...]:
    """Everything worth saying about a draft without mistakes, each as `key: what, what to do`."""
    found = [*_links(draft), *_spaces(draft), *_sensors(draft), *_relays(draft)]
    return (*found, *_water(draft), *_people(draft))


def _links(draft: Draft) -> Iterator[str]:
    broker = draft.broker
    if broker.tls is False and not is_loopback(broker.host):
        yield (
            f"broker.tls: off to {broker.host}: anybody on that network can read and forge readings and"
            " commands; use tls: on"
        )
    for ident, channel in draft.channels.items():
        if (
            isinstance(channel, pf.MailChannel)
            and channel.security == "off"
            and not is_loopback(channel.host)
        ):
            yield f"channels.{ident}.security: off: mail goes out readable by all; use starttls or tls"
        if isinstance(channel, pf.WebhookChannel) and channel.token_file and channel.url.startswith("http:"):
            yield f"channels.{ident}.url: the token goes out readable by all; use https"
    if draft.mirror and draft.mirror.token_file and draft.mirror.url.startswith("http:"):
        yield "mirror.url: the token goes out readable by all; use https unless the server is this machine"


def _spaces(draft: Draft) -> Iterator[str]:
    programmes = {(programme.space, str(programme.role)) for programme in draft.programmes.values()}
    for ident, space in draft.spaces.items():
        roles = {relay.role for relay in draft.relays.values() if relay.space == ident}
        yield from _kind(draft, ident, space)
        if space.kind is SpaceKind.COLD_STORE or (space.kind is SpaceKind.SPAWN_RUN and "mist" not in roles):
            continue
        if not measured(draft, ident, Quantity.HUMIDITY):
            yield f"spaces.{ident}: no humidity sensor: mist can only run by the clock there"
        elif "mist" in roles and not any(
            _calibrated(draft, name) for name in measured(draft, ident, Quantity.HUMIDITY)
        ):
            yield (
                f"spaces.{ident}: no humidity sensor is calibrated: a sensor 3 % off costs a fifth of the"
                " night; check one against salt with gillhouse calibrate"
            )
        if "mist" in roles and (ident, "mist") not in programmes:
            yield (
                f"spaces.{ident}: no mist programme: when the sensors fall silent nothing will be misted; add"
                " one with when: fallback"
            )
        if "light" in roles and space.light is None and (ident, "light") not in programmes:
            yield (
                f"spaces.{ident}: a light relay without light hours never comes on; add light: {{start:"
                " 08:00}"
            )


def _kind(draft: Draft, ident: str, space: ff.SpaceGroup) -> Iterator[str]:
    """What a space of its kind should have."""
    if space.walk_in and space.kind is not SpaceKind.OPEN and not measured(draft, ident, Quantity.CO2):
        yield f"spaces.{ident}: people walk in and nothing measures CO2: no alarm can warn them"
    if space.kind is SpaceKind.COLD_STORE and not measured(draft, ident, Quantity.TEMPERATURE):
        yield f"spaces.{ident}: nothing measures its temperature: nobody is told when it gets warm"
    own = [sensor for sensor in draft.sensors.values() if sensor.space == ident]
    if space.kind is SpaceKind.COLD_STORE and not any(each.quantity is Quantity.DOOR for each in own):
        yield f"spaces.{ident}: no door switch: a door left open is told only when it has become warm"
    if space.kind is SpaceKind.SPAWN_RUN and not any(each.zone == CORE_ZONE for each in own):
        yield (
            f"spaces.{ident}: no sensor inside a block: it runs some 5 degrees warmer than the air and harms"
            " itself unseen; push a temperature sensor into a block and give it zone: core"
        )
    other = [str(crop.stage) for crop in entries(space) if crop.stage is not Stage.SPAWN_RUN]
    if space.kind is SpaceKind.SPAWN_RUN and other:
        yield (
            f"spaces.{ident}: a spawn run holds a crop in {other[0]}; write kind: room, or correct the stage"
        )


def _sensors(draft: Draft) -> Iterator[str]:
    for ident, sensor in draft.sensors.items():
        space = draft.spaces.get(sensor.space or "")
        closed = space is not None and space.kind is not SpaceKind.OPEN and sensor.zone not in OUTSIDE
        if closed and getattr(sensor, "self_calibrating", False):
            yield (
                f"sensors.{ident}.self_calibrating: yes in a closed space: unless its CO2 comes down to that"
                " of outdoor air every week, this sensor reads lower and lower and the fan stays off; air the"
                " space fully once a week, or switch self-calibration off in the sensor"
            )


def clashing(farm: FarmSettings) -> tuple[str, ...]:
    """Crops that cannot share a space, where nobody said which of them wins."""
    names = {ident: species.name for ident, species in farm.species.items()}
    return tuple(
        f"spaces.{space.id}.crops: {explain(clash, names)}"
        for space in farm.spaces.values()
        for clash in space.clashes
        if not clash.declared
    )


def _calibrated(draft: Draft, name: str) -> bool:
    return bool(getattr(draft.sensors[name], "calibrated", False))


def _relays(draft: Draft) -> Iterator[str]:
    for ident, relay in draft.relays.items():
        if relay.lease is None:
            yield (
                f"relays.{ident}.lease: none: if we or the network fail this stays as it is until somebody"
                " comes"
            )
        if isinstance(relay, wf.MistRelay) and relay.daily_litres is None:
            yield (
                f"relays.{ident}: no daily_litres: a fault may run water all day; state what a wet day may"
                " take"
            )
        if relay.driver == "mqtt" and relay.state is None:
            yield f"relays.{ident}: the board reports no state: a relay that sticks goes unseen"
        if relay.gpio and relay.gpio.active_low is (relay.gpio.pin > 8):
            yield (
                f"relays.{ident}.gpio.pin: {relay.gpio.pin} is pulled towards on from power-on until we"
                f" start; use one of {'2 to 8' if relay.gpio.active_low else '9 to 27'}, or fit a resistor of"
                " some kilohms that pulls the relay's input to off"
            )


def _water(draft: Draft) -> Iterator[str]:
    counted = {sensor.space for sensor in draft.sensors.values() if sensor.quantity is Quantity.PEOPLE}
    for ident, relay in draft.relays.items():
        if draft.water.flush is not None and relay.role == "mist" and relay.space not in counted:
            yield (
                f"water.flush: nothing says whether somebody is inside {relay.space}, so the line of {ident}"
                " is never flushed by itself; add a people sensor, or flush by hand"
            )


def _people(draft: Draft) -> Iterator[str]:
    if not draft.people:
        yield "people: nobody is told of an alarm; add somebody, and a channel to reach them"
    used = {reach.channel for person in draft.people.values() for reach in person.reach}
    for ident in draft.channels:
        if ident not in used:
            yield f"channels.{ident}: nobody is reached over it; name it under a person's reach, or delete it"
    yield from _waking(draft)
    if draft.people and not any(1 in person.priorities for person in draft.people.values()):
        yield (
            "people: nobody gets priority 1, the alarms that must wake someone; add 1 to somebody's"
            " priorities"
        )
    if draft.report.send_at is not None and not any(person.report for person in draft.people.values()):
        yield "report.send_at: nobody gets the report; write report: yes for somebody"


def _waking(draft: Draft) -> Iterator[str]:
    """Whether an alarm at night can wake anybody, and who of those called is reached by no such way."""
    called = {ident: person for ident, person in draft.people.items() if 1 in person.priorities}
    awake = [
        ident for ident, one in called.items() if any(_rings(draft, reach.channel) for reach in one.reach)
    ]
    if called and not awake:
        yield (
            "channels: NONE OF THEM CAN WAKE ANYONE: an alarm at night waits until somebody looks; add a"
            " channel of kind sms, or say of one that rings why it does (wakes: {rings: yes, why: ...})"
        )
        return
    for ident in called:
        if ident not in awake:
            yield f"people.{ident}: gets the alarms that must wake someone, by no way that rings at night"


def _rings(draft: Draft, name: str) -> bool:
    channel = draft.channels.get(name)
    if channel is None:
        return False
    kind: str = getattr(channel, "kind")  # noqa: B009  (each kind's class has it, their base has not)
    return WAKES[kind] if channel.wakes is None else channel.wakes.rings
