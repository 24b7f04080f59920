"""Telling people: what an alarm reads like, the ways out, and trying until one is taken."""

from collections.abc import Callable
from dataclasses import dataclass

from gillhouse.alerts.channel import Channel
from gillhouse.alerts.memory import MemoryChannel
from gillhouse.alerts.mqtt import MqttChannel, Publish
from gillhouse.clock import Clock
from gillhouse.core.edges import AlertSettings, ChannelSettings
from gillhouse.errors import ChannelError


@dataclass(frozen=True, slots=True)
class Ports:
    """What a channel may be given by the house."""

    clock: Clock
    publish: Publish


def _mail(settings: ChannelSettings, _ports: Ports) -> Channel:
    # Imported where a farm sends mail: three megabytes that others need not carry.
    from gillhouse.alerts.mail import MailChannel

    return MailChannel(settings)


def _webhook(settings: ChannelSettings, _ports: Ports) -> Channel:
    from gillhouse.alerts.webhook import WebhookChannel

    return WebhookChannel(settings)


def _sms(settings: ChannelSettings, ports: Ports) -> Channel:
    try:
        from gillhouse.alerts.sms import SmsChannel
    except ImportError as error:
        raise ChannelError(
            f"channel {settings.id}: the extra is missing ({error}); run: pip install 'gillhouse[sms]'"
        ) from None
    return SmsChannel(settings, ports.clock)


def _apprise(settings: ChannelSettings, _ports: Ports) -> Channel:
    from gillhouse.alerts.apprise import AppriseChannel

    return AppriseChannel(settings)


CHANNELS: dict[str, Callable[[ChannelSettings, Ports], Channel]] = {
    # kind in the config: how it is made
    "mail": _mail,
    "webhook": _webhook,
    "mqtt": lambda settings, ports: MqttChannel(settings, ports.publish),
    "sms": _sms,
    "apprise": _apprise,
    "memory": lambda settings, ports: MemoryChannel(settings, ports.clock),
}


def open_channels(settings: AlertSettings, ports: Ports) -> dict[str, Channel]:
    """Every channel of the config by its id. None of them is connected before its first message."""
    return {one.id: CHANNELS[one.kind](one, ports) for one in settings.channels}
