"""`gillhouse try-alert`: one test message on every channel, at once, and what each answered."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import click

from gillhouse.alerts import Ports, open_channels
from gillhouse.alerts.channel import Channel, Message
from gillhouse.alerts.mailbox import Mailbox
from gillhouse.alerts.mqtt import Publish
from gillhouse.alerts.wording import marked, plain
from gillhouse.clock import Clock, SystemClock
from gillhouse.commands.alerts_told import rings
from gillhouse.commands.options import config_option, default_config
from gillhouse.config import Config, load
from gillhouse.core.edges import BrokerSettings, ChannelSettings
from gillhouse.errors import ChannelError
from gillhouse.mqtt import BrokerLink

CONNECT_S = 10.0
"""How long the broker may take to let us in, and to confirm the message."""


@click.command()
@config_option
@click.option("--channel", "only", default=None, help="Only the channel of this name.")
def command(config_path: Path | None, only: str | None) -> None:
    """Send a test message to everybody on every channel, and say what each answered.

    Works beside a running daemon. Ends with code 1 if anyone could not be reached.

    Example: gillhouse try-alert --channel mail
    """
    path = config_path or default_config()
    config = load(path)
    chosen = [one.id for one in config.alerts.channels if only in (None, one.id)]
    if not chosen:
        raise click.ClickException(_nothing_to_try(config, path, only))
    clock = SystemClock()
    needs_broker = any(one.kind == "mqtt" and one.id in chosen for one in config.alerts.channels)
    with _broker(config.broker, clock) if needs_broker else _no_broker() as publish:
        channels = open_channels(config.alerts, Ports(clock, publish))
        answers = [_try(config, clock, channels[name]) for name in chosen]
    if not all(answers):
        raise SystemExit(1)


def _nothing_to_try(config: Config, path: Path, only: str | None) -> str:
    known = ", ".join(one.id for one in config.alerts.channels)
    if not known:
        return f"{path} names no channel: alarms stand in the log alone; add one under channels"
    return f"{path} has no channel {only!r}; it has {known}"


def _try(config: Config, clock: Clock, channel: Channel) -> bool:
    """Sends to everybody who is reached by `channel`. Returns whether all of it was taken."""
    reached = [
        (person.id, reach.to)
        for person in config.alerts.people
        for reach in person.reach
        if reach.channel == channel.id
    ]
    if not reached:
        click.echo(f"{channel.id}: nobody is reached by it, so nothing was sent; name it under people")
        return False
    settings = next(one for one in config.alerts.channels if one.id == channel.id)
    answers = [_send(config.farm.name, clock.now().wall_ms, channel, *whom) for whom in reached]
    click.echo(f"{channel.id}: {rings(settings)}")
    return all((*answers, _mailbox(settings)))


def _mailbox(settings: ChannelSettings) -> bool:
    """Whether answers to a mail channel could be fetched; they are left where they are."""
    if settings.answers is None:
        return True
    try:
        waiting = Mailbox(settings.id, settings.answers, settings.timeout_ms).waiting()
        click.echo(f"{settings.id}: answers can be fetched, {waiting} not looked at")
    except ChannelError as error:
        click.echo(f"{settings.id}: ANSWERS CANNOT BE FETCHED: {error}", err=True)
        return False
    return True


def _send(farm: str, at_ms: int, channel: Channel, person: str, to: str) -> bool:
    text = marked(plain(f"TEST from {farm}: so an alarm reaches you."), "Nothing is wrong.")
    message = Message(f"{at_ms}-test-{person}", at_ms, person, to, plain(f"TEST from {farm}"), text)
    try:
        click.echo(f"{channel.id}, {person}: {channel.send(message)}")
    except ChannelError as error:
        click.echo(f"{channel.id}, {person}: NOT SENT: {error}", err=True)
        return False
    return True


@contextmanager
def _broker(settings: BrokerSettings, clock: Clock) -> Iterator[Publish]:
    """A link of our own: under the daemon's name the broker would throw the daemon out."""
    own = replace(
        settings, client_id=f"{settings.client_id}-try-alert", base_topic=f"{settings.base_topic}/try-alert"
    )
    up = threading.Event()

    def changed(now_up: bool, why: str) -> None:
        if now_up:
            up.set()

    link = BrokerLink(own, clock, lambda message, synced: None, changed)
    link.start()
    try:
        up.wait(CONNECT_S)
        yield lambda topic, payload: link.deliver(topic, payload, CONNECT_S)
    finally:
        link.stop()


@contextmanager
def _no_broker() -> Iterator[Publish]:
    yield lambda topic, payload: False
