"""The error family. Each names what failed, the offending value, and what to do next.

Bad data from a sensor is not here: it is a value with a quality (see `core.readings`). These are for
things a person must mend (a config), a message nobody can read, or a part of the house that is gone.
"""


class GillhouseError(Exception):
    """Base of everything this package raises on purpose."""


class ConfigError(GillhouseError, ValueError):
    """One or more mistakes in the config files, all of them at once.

    `mistakes` holds one line each, already worded as `file:line:column: key: what is wrong, what to do`.
    """

    def __init__(self, mistakes: list[str]) -> None:
        super().__init__("\n".join(mistakes))
        self.mistakes = mistakes


class PayloadError(GillhouseError, ValueError):
    """A message no reading can be made of.

    `reason` is a member of `payloads.Reject`, `detail` says what was found, shortened and made printable.
    """

    def __init__(self, reason: str, detail: str) -> None:
        super().__init__(f"{reason}: {detail}")
        self.reason = reason
        self.detail = detail


class StoreError(GillhouseError, OSError):
    """The store cannot be opened, read or written; the message says what to do."""


class DamagedStoreError(StoreError):
    """The store's file is there but is damaged, or is no store at all."""


class RelayError(GillhouseError, RuntimeError):
    """A relay driver could not hand over a command."""


class ChannelError(GillhouseError, RuntimeError):
    """An alert channel refused or could not be reached; the message is kept and tried again."""


class LocalError(GillhouseError, ConnectionError):
    """The running daemon cannot be reached, or refused a request."""


class CalibrationError(GillhouseError, ValueError):
    """A sensor's check against something known cannot be used; the message says why and what to do."""
