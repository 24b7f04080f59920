"""`gillhouse off`: every relay off, by the config alone. For when no daemon runs; the service manager calls
it after each end of ours, however we ended.

It knows two configs: the one the journal says was in force, since that is what was driven, and the farm
file. It has one bound for all of it and keeps it, whatever hangs. A relay that is advice only is not touched.
Not here: whether it is safe to touch anything afterwards. Only who has isolated it by hand can say that.
"""

import os
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import click

from gillhouse.clock import Box, SystemClock
from gillhouse.commands.options import config_option, default_config, default_state, state_option
from gillhouse.config import Config, load
from gillhouse.core.edges import BrokerSettings, RelayWire
from gillhouse.core.inputs import RelayReport
from gillhouse.errors import GillhouseError
from gillhouse.local import is_running
from gillhouse.mqtt import BrokerLink
from gillhouse.record import config_of
from gillhouse.relays import Relays
from gillhouse.relays.ports import Ports
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader

OFF, TOLD, ON, AWAY = "off", "told off", "STILL ON", "not reached"
GAVE_UP = 3
"""Exit code when the bound was reached."""


@click.command()
@config_option
@state_option
@click.option(
    "--within",
    "within_s",
    type=click.FloatRange(1.0, 60.0),
    default=10.0,
    show_default=True,
    help="Seconds for all of it; after that it ends, done or not.",
)
def command(config_path: Path | None, state_dir: Path | None, within_s: float) -> None:
    """Every relay off, where no daemon runs (exit code 1 if one was not reached).

    "Off" means that we asked for off. It never means that something is safe to touch.

    Example: gillhouse off --config /etc/gillhouse/farm.yaml
    """
    state = state_dir or default_state()
    if is_running(state):
        raise GillhouseError(
            f"the daemon on {state} is running and would switch them on again: stop it first, "
            "systemctl stop gillhouse"
        )
    bound = threading.Timer(within_s, _give_up, (within_s,))
    bound.daemon = True
    bound.start()
    came: dict[str, str] = {}
    tried: set[RelayWire] = set()
    for config in _configs(state, config_path or default_config()):
        wires = {wire for wire in config.relay_wires.values() if not wire.advise_only} - tried
        came |= all_off(config.broker, sorted(wires, key=lambda wire: wire.relay), within_s / 3)
        tried |= wires
    for relay, said in came.items():
        click.echo(f"{relay}: {said}")
    if not came:
        click.echo("no relay is in our hands: nothing to switch off")
    if any(said in (ON, AWAY) for said in came.values()):
        click.echo("what was not reached lets go by itself when its time is over, if its board can", err=True)
        raise SystemExit(1)


def _give_up(within_s: float) -> None:
    click.echo(f"gave up after {within_s:g} s; boards let go by themselves when their time is over", err=True)
    os._exit(GAVE_UP)  # whatever hangs, hangs


def _configs(state: Path, farm_file: Path) -> Iterator[Config]:
    """What was in force, then the farm file. Raises GillhouseError only where neither can be read."""
    troubles = []
    try:
        with Reader(state / JOURNAL) as reader:
            yield config_of(reader, state / JOURNAL)
    except GillhouseError as error:
        troubles.append(str(error))
    try:
        yield load(farm_file)
    except GillhouseError as error:
        troubles.append(str(error))
    for trouble in troubles:
        click.echo(trouble, err=True)
    if len(troubles) > 1:
        raise GillhouseError("no config can be read: which relays there are is not known; switch off by hand")


def all_off(broker: BrokerSettings, wires: list[RelayWire], patience_s: float) -> dict[str, str]:
    """Switches the relays of `wires` off. Returns relay -> what came of it.

    Args:
        patience_s: how long the broker, and then the boards, may take each.
    """
    clock = SystemClock()
    heard: Box[RelayReport] = Box(clock)
    by_mqtt = [wire for wire in wires if wire.driver == "mqtt"]
    by_hand = [wire for wire in wires if wire.driver in ("gpio", "modbus")]
    came = _over_mqtt(broker, by_mqtt, patience_s) if by_mqtt else {}
    relays = Relays.wired(by_hand, Ports(_no_broker, clock, heard.put))
    relays.start(clock.now())
    came |= {wire.relay: AWAY for wire in by_hand}
    missing, until_ms = {wire.relay for wire in by_hand}, clock.now().mono_ms + int(patience_s * 1000)
    while missing and clock.now().mono_ms < until_ms:
        report = heard.take(until_ms)
        if report is not None:
            came[report.relay] = AWAY if report.on is None else ON if report.on else OFF
            missing.discard(report.relay)
    relays.close(clock.now())
    return came


def _over_mqtt(broker: BrokerSettings, wires: list[RelayWire], patience_s: float) -> dict[str, str]:
    """OFF to each command topic; what the broker has confirmed counts as told."""
    clock = SystemClock()
    links: Box[bool] = Box(clock)
    own = replace(broker, client_id=f"{broker.client_id}-off")
    link = BrokerLink(own, clock, lambda *_: None, lambda up, _why: links.put(up))
    told: list[bool] = []

    def deliver(
        topic: str, payload: bytes, qos: int = 1, retain: bool = False, expire_s: float | None = None
    ) -> bool:
        told.append(link.deliver(topic, payload, patience_s, expire_s))
        return told[-1]

    link.start()
    until_ms = clock.now().mono_ms + int(patience_s * 1000)
    while not link.connected and clock.now().mono_ms < until_ms:
        links.take(until_ms)
    came = {}
    relays = Relays.wired(wires, Ports(deliver, clock, lambda _: None))
    for relay, driver in relays.drivers.items():
        driver.all_off(clock.now())
        came[relay] = TOLD if told and told[-1] else AWAY
    link.stop()
    return came


def _no_broker(
    topic: str, payload: bytes, qos: int = 1, retain: bool = False, expire_s: float | None = None
) -> bool:
    return False
