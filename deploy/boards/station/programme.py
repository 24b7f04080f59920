"""What a relay does by the board's own clock when nobody has spoken to the board for too long.

Runs of `run_ms` spread evenly over the hour, at most `most_ms` in any sixty minutes, whatever happens: runs
of the hour before are counted, and a run that would pass the cap is cut or waits.
"""

HOUR_MS = 3600000


class Programme:
    def __init__(self, minutes_per_hour, run_s, delay_ms=0):
        """
        Args:
            minutes_per_hour: the cap, more than 0 and less than 60. run_s: one run, in seconds.
            delay_ms: before the first run, so that several relays do not start together.
        """
        self.most_ms = int(minutes_per_hour * 60000)
        self.run_ms = min(int(run_s * 1000), self.most_ms)
        self.delay_ms = delay_ms
        self.period_ms = HOUR_MS * self.run_ms // self.most_ms
        self._runs = []
        self._next_ms = None

    def begin(self, now_ms):
        self._next_ms = now_ms + self.delay_ms

    def end(self, now_ms):
        """Nobody is silent any more. A run under way ends now, and is counted as far as it went."""
        self._next_ms = None
        if self._runs and self._runs[-1][1] > now_ms:
            self._runs[-1] = (self._runs[-1][0], now_ms)

    def due(self, now_ms):
        """How long to run from now; 0: not now."""
        if self._next_ms is None or now_ms < self._next_ms:
            return 0
        self._runs = [run for run in self._runs if run[1] > now_ms - HOUR_MS]
        # In the hour that ends with this run, what ran before its beginning does not count.
        left_ms = self.run_ms
        while left_ms and self._counted(now_ms + left_ms - HOUR_MS) + left_ms > self.most_ms:
            left_ms -= min(left_ms, 1000)
        if not left_ms:
            return 0
        self._next_ms = now_ms + self.period_ms
        self._runs.append((now_ms, now_ms + left_ms))
        return left_ms

    def _counted(self, since_ms):
        total = 0
        for begin, end in self._runs:
            total += max(0, end - max(begin, since_ms))
        return total
