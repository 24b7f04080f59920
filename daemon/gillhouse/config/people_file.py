"""The sections of `farm.yaml` about people: ways out, who gets what, turns, and the helper card.

Here: which keys exist, their kind, bounds and defaults. Not here: what entries must agree on
(`people_checks`), and what becomes of the values (`people`).
"""

from typing import Annotated, Literal

from pydantic import Field

from gillhouse.config.fields import (
    ClockTime,
    Count,
    Day,
    Device,
    Duration,
    FileName,
    Group,
    Host,
    Ident,
    Line,
    Login,
    MailAddress,
    Name,
    Phone,
    Port,
    ShortNumber,
    Topic,
    Url,
    Weekday,
    YesNo,
    between,
)
from gillhouse.core.edges import PersonRole


class WakesGroup(Group):
    """The grower's word on whether a channel rings at night, against the kind's own fact."""

    rings: YesNo
    why: Line


class ChannelGroup(Group):
    """What every channel may say."""

    wakes: WakesGroup | None = None
    """None: as the kind does (`core.edges.WAKES`)."""


class AnswersGroup(Group):
    """The mailbox replies are fetched from, always over TLS."""

    host: Host
    port: Port = 993
    username: Name
    password_file: FileName
    folder: Line = "INBOX"
    every: Annotated[Duration, between("10 s", "15 min")] = 60_000
    ca_file: FileName | None = None


class MailChannel(ChannelGroup):
    kind: Literal["mail"]
    host: Host
    port: Port | None = None
    """None: 587, or 465 with `security: tls`."""
    security: Literal["starttls", "tls", "off"] = "starttls"
    sender: MailAddress
    username: Name | None = None
    password_file: FileName | None = None
    ca_file: FileName | None = None
    timeout: Annotated[Duration, between("1 s", "2 min")] = 15_000
    answers: AnswersGroup | None = None


class WebhookChannel(ChannelGroup):
    kind: Literal["webhook"]
    url: Url
    token_file: FileName | None = None
    ca_file: FileName | None = None
    timeout: Annotated[Duration, between("1 s", "2 min")] = 15_000


class MqttChannel(ChannelGroup):
    kind: Literal["mqtt"]
    topic: Topic


class MemoryChannel(ChannelGroup):
    kind: Literal["memory"]


class SmsChannel(ChannelGroup):
    """A modem on a serial line, with a card of its own."""

    kind: Literal["sms"]
    device: Device
    baud: Annotated[Count, Field(ge=1_200, le=921_600)] = 115_200
    pin_file: FileName | None = None
    look_every: Annotated[Duration, between("2 s", "5 min")] = 10_000
    timeout: Annotated[Duration, between("5 s", "2 min")] = 60_000
    """A network may take this long to take a text."""


class AppriseChannel(ChannelGroup):
    """A service the extra `apprise` can reach."""

    kind: Literal["apprise"]
    url_file: FileName


CHANNELS: dict[str, type[ChannelGroup]] = {
    "mail": MailChannel,
    "webhook": WebhookChannel,
    "mqtt": MqttChannel,
    "memory": MemoryChannel,
    "sms": SmsChannel,
    "apprise": AppriseChannel,
}


class ReachGroup(Group):
    channel: Ident
    to: MailAddress | None = None
    """For mail alone: a text goes to the person's `phone`."""


class QuietGroup(Group):
    """A person's hours of sleep, local."""

    start: ClockTime
    end: ClockTime


class PersonGroup(Group):
    name: Name
    reach: Annotated[tuple[ReachGroup, ...], Field(min_length=1)]
    priorities: Annotated[tuple[Annotated[Count, Field(le=3)], ...], Field(min_length=1)] = (1, 2, 3)
    spaces: Annotated[tuple[Ident, ...], Field(min_length=1)] | None = None
    report: YesNo = True
    role: PersonRole = PersonRole.OWNER
    phone: Phone | None = None
    logins: tuple[Login, ...] = ()
    quiet: QuietGroup | None = None


class RotaGroup(Group):
    """Who is called first on some days."""

    first: Annotated[tuple[Ident, ...], Field(min_length=1)]
    start: Day | None = None
    end: Day | None = None
    weekdays: Annotated[tuple[Weekday, ...], Field(min_length=1)] | None = None
    hands_over: ClockTime = 8 * 60


class ShutOffGroup(Group):
    what: Line
    where: Line
    how: Line | None = None


class NeighbourGroup(Group):
    who: Line
    number: ShortNumber
    what_for: Line | None = None


class CardGroup(Group):
    """What the helper card says beyond the rest of the file."""

    emergency: ShortNumber | None = None
    address: Line | None = None
    shut_offs: tuple[ShutOffGroup, ...] = ()
    ring: tuple[NeighbourGroup, ...] = ()
    notes: tuple[Line, ...] = ()
