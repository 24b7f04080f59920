"""One relay of the board: off at first, off when its time is over, never on for longer than it may."""


class Relay:
    def __init__(self, name, write, longest_ms):
        """
        Args:
            write: called with True or False; switches the pin. longest_ms: no run lasts longer.
        """
        self.name, self.longest_ms = name, longest_ms
        self.why = "start"
        """`start`, `told`, `ended` (its time was over), `programme`."""
        self.last_order = None
        self._write = write
        self._until_ms = None
        write(False)

    @property
    def on(self):
        return self._until_ms is not None

    def left_ms(self, now_ms):
        return 0 if self._until_ms is None else self._until_ms - now_ms

    def switch_on(self, now_ms, ms, why):
        self._until_ms = now_ms + min(ms, self.longest_ms)
        self.why = why
        self._write(True)

    def switch_off(self, why):
        self._until_ms = None
        self.why = why
        self._write(False)

    def tick(self, now_ms):
        """Lets go if its time is over. Returns whether it did."""
        if self._until_ms is None or now_ms < self._until_ms:
            return False
        self.switch_off("ended")
        return True
