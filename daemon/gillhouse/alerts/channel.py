"""What goes over a channel, and what a channel is.

Here: the message, the two ways a channel can say no, and the words taken from what a server said. Not here:
when to try again (`outbox`), what an alarm reads like (`wording`), any one channel.
"""

import base64
from dataclasses import dataclass
from typing import Protocol

from gillhouse.errors import ChannelError

LONGEST_ANSWER = 200
"""Characters kept of what a server said."""


class Refused(ChannelError):
    """The channel will never take this message, whatever the waiting: others need not queue behind it."""


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file that goes with a message."""

    name: str
    media_type: str
    """Such as `text/html` (RFC 6838)."""
    data: bytes


@dataclass(frozen=True, slots=True)
class Message:
    """One message to one person over one channel."""

    id: str
    """The same at every attempt, so that a receiver can drop a repeat."""
    at_ms: int
    """Wall time it was made, milliseconds since 1970 UTC."""
    person: str
    """Id of the person it is for."""
    to: str
    """The person's address on this channel; empty where the channel needs none."""
    subject: str
    text: str
    priority: int | None = None
    """1 wakes someone, 2 high, 3 daytime; None: no alarm."""
    alarm: str | None = None
    occurrence: int | None = None
    attachments: tuple[Attachment, ...] = ()


@dataclass(frozen=True, slots=True)
class Incoming:
    """Something that came in over a channel, from whoever could reach it: nothing of it is believed yet."""

    channel: str
    sender: str
    """A number or an address, as the network or the mail says it."""
    body: str


class Channel(Protocol):
    """One way out. `send` may take as long as the channel's timeout, so control never calls it."""

    id: str

    def send(self, message: Message) -> str:
        """Hands `message` over once.

        Returns: what the other side answered, in words.
        Raises:
            Refused: this message will never be taken.
            ChannelError: it could not be handed over now; trying again may help.
            Neither holds a password, a token or more of an address than the host's name.
        """
        ...


def as_plain(message: Message) -> dict[str, object]:
    """A message as plain JSON values, for channels that carry JSON."""
    return {
        "id": message.id,
        "at_ms": message.at_ms,
        "person": message.person,
        "subject": message.subject,
        "text": message.text,
        "priority": message.priority,
        "alarm": message.alarm,
        "occurrence": message.occurrence,
        "attachments": [
            {"name": one.name, "type": one.media_type, "base64": base64.b64encode(one.data).decode("ascii")}
            for one in message.attachments
        ],
    }


def heard(answer: str | bytes, *secrets: str) -> str:
    """What a server said, fit for a log: printable, short, and without the secrets it may have echoed."""
    words = answer.decode("utf-8", "replace") if isinstance(answer, bytes) else answer
    for secret in secrets:
        if secret:
            words = words.replace(secret, "***")
    printable = "".join(one if one.isprintable() else " " for one in words)
    return " ".join(printable.split())[:LONGEST_ANSWER]
