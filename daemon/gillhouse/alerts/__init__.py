"""Telling people: what an alarm reads like, the ways out, and trying until one is taken."""

from collections.abc import Callable
from dataclasses import dataclass

from gillhouse.alerts.channel import Channel
from gillhouse.alerts.mail import MailChannel
from gillhouse.alerts.memory import MemoryChannel
from gillhouse.alerts.mqtt import MqttChannel, Publish
from gillhouse.alerts.webhook import WebhookChannel
from gillhouse.clock import Clock
from gillhouse.core.edges import AlertSettings, ChannelSettings


@dataclass(frozen=True, slots=True)
class Ports:
    """What a channel may be given by the house."""

    clock: Clock
    publish: Publish


CHANNELS: dict[str, Callable[[ChannelSettings, Ports], Channel]] = {
    # kind in the config: how it is made
    "mail": lambda settings, ports: MailChannel(settings),
    "webhook": lambda settings, ports: WebhookChannel(settings),
    "mqtt": lambda settings, ports: MqttChannel(settings, ports.publish),
    "memory": lambda settings, ports: MemoryChannel(settings, ports.clock),
}


def open_channels(settings: AlertSettings, ports: Ports) -> dict[str, Channel]:
    """Every channel of the config by its id. None of them is connected before its first message."""
    return {one.id: CHANNELS[one.kind](one, ports) for one in settings.channels}
