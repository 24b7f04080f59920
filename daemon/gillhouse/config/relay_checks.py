"""What relays, shared equipment and programmes must agree on, safety first.

What can flood or burn must stop without us: either the board drops out by itself when its time is over, or
a piece of hardware cuts the load, and the file says so. Not here: sensors, their topics, people (`checks`).
"""

from gillhouse.config import wire_file as wf
from gillhouse.config.cron import cron_trouble
from gillhouse.config.draft import Draft
from gillhouse.config.farm_file import ProgrammeGroup
from gillhouse.config.proof_checks import check_guards
from gillhouse.config.references import must_exist
from gillhouse.config.relay_wires import FLOOD_OR_BURN, check_places, check_wire
from gillhouse.config.tree import Key
from gillhouse.config.wording import got
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import Role

TIMED = (Role.MIST, Role.FAN, Role.LIGHT, Role.CIRCULATION, Role.UV)
SHARED = ("pump", "fan", "heater", "cooler", "master", "alarm")
"""Roles that may stand without a space, if a shared section names them or several spaces breathe by them."""


def check_relays(draft: Draft) -> None:
    """Note every disagreement about equipment."""
    for ident, relay in draft.relays.items():
        _place(draft, ident, relay)
        _letting_go(draft, ident, relay)
        _wire(draft, ident, relay)
        check_wire(draft, ident, relay)
        _times(draft, ident, relay)
    _command_topics(draft)
    check_places(draft)
    _supplies(draft)
    _shared_air(draft)
    for ident, programme in draft.programmes.items():
        _programme(draft, ident, programme)
    _flush(draft)
    check_guards(draft)


def _place(draft: Draft, ident: str, relay: wf.RelayGroup) -> None:
    here: Key = ("relays", ident)
    if relay.space is not None:
        must_exist(draft, "spaces", relay.space, (*here, "space"))
    elif relay.role not in SHARED:
        draft.sheet.add(
            (*here, "space"), f"is missing; a {relay.role} relay belongs to a space: add space: ..."
        )
    for number, other in enumerate(relay.never_with):
        if must_exist(draft, "relays", other, (*here, "never_with", number)) and other == ident:
            draft.sheet.add((*here, "never_with", number), "names the relay itself; delete it")
    tank = getattr(relay, "tank", None)
    if tank is not None and must_exist(draft, "sensors", tank, (*here, "tank")):
        sensor = draft.sensors.get(tank)
        if sensor is not None and sensor.quantity is not Quantity.TANK:
            draft.sheet.add(
                (*here, "tank"), f"{tank} measures {sensor.quantity}, not tank; name the tank's switch"
            )


def _letting_go(draft: Draft, ident: str, relay: wf.RelayGroup) -> None:
    here: Key = ("relays", ident)
    if relay.lease is None and relay.driver == "mqtt":
        if relay.role in FLOOD_OR_BURN and relay.run_time_limiter is None:
            draft.sheet.add(
                (*here, "lease"),
                f"none on a {relay.role} relay: if we or the network fail it stays on, and floods or burns;"
                " use a board that drops out by itself, or fit a hardware run-time limiter and state it"
                " under run_time_limiter (cuts_after, tested)",
            )
        return
    on = relay.command.on if relay.command else ""
    if relay.driver == "mqtt" and relay.command and "{seconds}" not in on and "{until}" not in on:
        draft.sheet.add(
            (*here, "command", "on"),
            f"does not tell the board how long (got {got(on)}); put {{seconds}} in it, or write lease: none"
            " if the board cannot drop out",
        )


def _wire(draft: Draft, ident: str, relay: wf.RelayGroup) -> None:
    here: Key = ("relays", ident)
    if relay.driver == "mqtt" and relay.command is None:
        draft.sheet.add(
            (*here, "command"),
            "is missing; add the topic the board listens on, as command: {topic: farm/room/mist/set}",
        )
    if relay.command and relay.command.on == relay.command.off:
        draft.sheet.add(
            (*here, "command", "off"),
            f"is the same as on (got {got(relay.command.off)}); write what switches the board off",
        )
    if relay.command and relay.state and relay.state.topic == relay.command.topic:
        draft.sheet.add(
            (*here, "state", "topic"),
            "is the command's own topic, so we would hear ourselves; name the topic the board reports on",
        )
    for name in ("state", "available"):
        words = getattr(relay, name)
        if words and words.on.casefold() == words.off.casefold():
            draft.sheet.add(
                (*here, name, "off"),
                f"is the same word as on (got {got(words.off)}); write what the board sends for each",
            )


def _times(draft: Draft, ident: str, relay: wf.RelayGroup) -> None:
    here: Key = ("relays", ident)
    longest = relay.longest_run
    if longest is not None and relay.least_on > longest:
        draft.sheet.add(
            (*here, "least_on"),
            f"is longer than the longest run, {longest / 1000:g} s; shorten it, or raise longest_run",
        )
    if isinstance(relay, wf.MistRelay):
        if longest is not None and relay.pulse > longest:
            draft.sheet.add(
                (*here, "pulse"),
                f"is longer than the longest run, {longest / 1000:g} s; shorten it, or raise longest_run",
            )
        if relay.pulse < relay.least_on:
            draft.sheet.add(
                (*here, "pulse"),
                f"is shorter than least_on, {relay.least_on / 1000:g} s; lengthen it, or lower least_on",
            )
    limiter = relay.run_time_limiter
    if limiter is not None and longest is not None and limiter.cuts_after < longest:
        draft.sheet.add(
            (*here, "run_time_limiter", "cuts_after"),
            f"is shorter than the longest run, {longest / 1000:g} s; lower longest_run",
        )


def _command_topics(draft: Draft) -> None:
    seen: dict[tuple[str, str], str] = {}
    read = {sensor.topic: name for name, sensor in draft.sensors.items()}
    for ident, relay in draft.relays.items():
        if relay.command is None:
            continue
        key: Key = ("relays", ident, "command", "topic")
        other = seen.setdefault((relay.command.topic, relay.command.on), ident)
        if other != ident:
            draft.sheet.add(
                key,
                f"{other} has the same topic and the same words, so one command would move both; correct one",
            )
        if relay.command.topic in read:
            draft.sheet.add(
                key, f"sensor {read[relay.command.topic]} reports on it; commands need a topic of their own"
            )


def _flush(draft: Draft) -> None:
    for ident, relay in draft.relays.items():
        longest, flush = relay.longest_run, draft.water.flush
        if relay.role == "mist" and longest is not None and flush is not None and flush > longest:
            draft.sheet.add(
                ("water", "flush"),
                f"is longer than the longest run of {ident}, {longest / 1000:g} s; shorten it",
            )


def _supplies(draft: Draft) -> None:
    fed: dict[str, str] = {}
    for ident, supply in draft.supplies.items():
        here: Key = ("supplies", ident)
        _of_role(draft, supply.pump, "pump", (*here, "pump"))
        for number, valve in enumerate(supply.valves):
            key: Key = (*here, "valves", number)
            _of_role(draft, valve, "mist", key)
            other = fed.setdefault(valve, ident)
            if other != ident or valve in supply.valves[:number]:
                draft.sheet.add(key, f"{valve} is already fed by {other}; delete it in one place")
    pumps = {supply.pump for supply in draft.supplies.values()}
    for ident, relay in draft.relays.items():
        if relay.role == "pump" and ident not in pumps:
            draft.sheet.add(
                ("relays", ident),
                "no supply names this pump, so nothing would ever start it; add it under supplies",
            )


def _shared_air(draft: Draft) -> None:
    for ident, air in draft.shared_air.items():
        here: Key = ("shared_air", ident)
        _of_role(draft, air.fan, "fan", (*here, "fan"))
        for space, damper in air.dampers.items():
            must_exist(draft, "spaces", space, (*here, "dampers", space))
            _of_role(draft, damper, "damper", (*here, "dampers", space))


def _of_role(draft: Draft, name: str, role: str, key: Key) -> None:
    relay = draft.relays.get(name)
    if must_exist(draft, "relays", name, key) and relay is not None and relay.role != role:
        draft.sheet.add(key, f"{name} is a {relay.role} relay; name one whose role is {role}")


def _programme(draft: Draft, ident: str, programme: ProgrammeGroup) -> None:
    here: Key = ("programmes", ident)
    must_exist(draft, "spaces", programme.space, (*here, "space"))
    if (programme.every is None) == (programme.at is None):
        draft.sheet.add(here, "needs either every (as 15 min) or at (as '0 8 * * *'), one of the two")
    if programme.at is not None and (trouble := cron_trouble(programme.at)):
        draft.sheet.add((*here, "at"), f"{trouble} (got {got(programme.at)})")
    if programme.every is not None and 86_400_000 % programme.every:
        draft.sheet.add(
            (*here, "every"),
            "does not go evenly into a day; write 5, 10, 15, 20 or 30 min, or 1, 2, 3, 4, 6, 8 or 12 h",
        )
    elif programme.every is not None and programme.every % 60_000:
        draft.sheet.add((*here, "every"), "should be whole minutes; write 15 min")
    if programme.role not in TIMED:
        draft.sheet.add(
            (*here, "role"), f"a {programme.role} is not run by the clock; write one of: {', '.join(TIMED)}"
        )
        return
    fitting = [
        r for r in draft.relays.values() if r.role == programme.role and r.space in (programme.space, None)
    ]
    if not fitting and programme.space in draft.spaces and len(draft.relays) == len(draft.named("relays")):
        draft.sheet.add(
            (*here, "role"),
            f"{programme.space} has no {programme.role} relay to run; add one, or correct the role",
        )
    for name in ("run", "night_run"):
        _run_fits(draft, here, name, programme, fitting)


def _run_fits(
    draft: Draft, here: Key, name: str, programme: ProgrammeGroup, fitting: list[wf.RelayGroup]
) -> None:
    run = getattr(programme, name) or 0
    if programme.every is not None and run > programme.every:
        draft.sheet.add((*here, name), "is longer than every, so it would never stop; shorten it")
    longest = min((r.longest_run for r in fitting if r.longest_run is not None), default=None)
    if longest is not None and run > longest:
        draft.sheet.add(
            (*here, name),
            f"is longer than the relay's longest run, {longest / 1000:g} s; shorten it, or raise longest_run",
        )
