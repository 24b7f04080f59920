"""One holder for one output, over all programs of this machine.

How: a socket bound to a name in Linux's abstract namespace (unix(7)). The kernel lets one process have a
name and takes it back when that process is gone, however it went: there is no file to be left over. Not here:
what the kernel itself keeps apart (a gpio line has one holder, a serial device is locked by its reader); this
comes before it, names what is held, and works for boards on a network too.
"""

import socket

from gillhouse.errors import RelayError


class Claim:
    """`what` is ours until `release`, or until this process ends."""

    def __init__(self, what: str) -> None:
        """
        Args:
            what: names the output, such as `gpio 17`.
        Raises:
            RelayError: another relay, or another program, has it.
        """
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        try:
            self._socket.bind(f"\0gillhouse/{what}")
        except OSError as error:
            self._socket.close()
            raise RelayError(
                f"{what} is in use by another relay or another run of this program ({error.strerror}); end"
                " that one, or correct the farm file"
            ) from error

    def release(self) -> None:
        self._socket.close()
