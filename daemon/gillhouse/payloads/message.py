"""One message as it came from the broker. Nothing is read into it here."""

from dataclasses import dataclass

from gillhouse.core.instant import Instant


@dataclass(frozen=True, slots=True)
class Message:
    """Topic and bytes, with what the broker said of them."""

    topic: str
    payload: bytes
    received: Instant
    """When it reached us, on our clocks."""
    retain: bool = False
    """The broker's kept copy, not a fresh message."""
    dup: bool = False
    """The broker says it may have sent this before. Neither sure nor complete; see `routes`."""
    token: object = None
    """What `BrokerLink.ack` wants back once the reading is safe; None where nothing is to be acknowledged."""
