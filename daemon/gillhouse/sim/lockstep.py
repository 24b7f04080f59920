"""The trial's driver: moves virtual time on only when everything that was said has been heard and handled.

How it works: virtual time goes to the earliest of the daemon's next wake, a board's next report, a relay
board's time running out, and the story's next moment. Then it stands still until: all our messages are
acknowledged by the broker and taken in by the daemon, the daemon is settled, and all it published has reached
the boards; commands move relays, their echoes go back, and the waiting begins again until no command is left.
So the same seed gives the same night, on a slow machine too. The daemon is driven over real MQTT; the only
other doors used are the ones `Daemon` names.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from gillhouse.clock import Clock, VirtualClock
from gillhouse.sim.boards import LET_GO_WORD, RelayBoard, SensorBoard, Sent
from gillhouse.sim.link import BoardLink
from gillhouse.sim.plant import House
from gillhouse.sim.quiet import Daemon, Quiet
from gillhouse.sim.story import Moment, Scene


@dataclass(slots=True)
class Cast:
    """Everything on the boards' side."""

    house: House
    sensors: Sequence[SensorBoard]
    relays: dict[str, RelayBoard]
    """By command topic."""
    link: BoardLink
    moments: Sequence[Moment] = ()
    alive_topic: str = ""
    """The daemon's birth and last will."""


@dataclass(slots=True)
class Tally:
    """What went over the wire, for the books to be compared with."""

    reports: int = 0
    echoes: int = 0
    commands: int = 0
    ticks: int = 0
    by_topic: dict[str, int] = field(default_factory=dict)


class Lockstep:
    """Drives one trial."""

    def __init__(self, clock: VirtualClock, real: Clock, daemon: Daemon, cast: Cast, scene: Scene) -> None:
        """
        Args:
            clock: the daemon's; starts at the trial's first moment.
            real: the machine's, for patience and for `real_pace`.
        """
        self._clock, self._real, self._cast, self._scene = clock, real, cast, scene
        self._moments = list(cast.moments)
        self.quiet = Quiet(real, daemon, cast.link)
        self.tally = Tally()

    def begin(self) -> None:
        """Waits for the daemon to be up and calm, then lets the relay boards say they are there."""
        link = self._cast.link
        link.pump(0.0)
        self.quiet.wait_for_calm()
        self.quiet.count_from_here()
        births = [sent for board in self._cast.relays.values() for sent in (board.birth(), board.echo())]
        for sent in births:
            if sent is not None:
                link.publish(sent.topic, sent.payload, sent.retain)
                self.quiet.wait()  # one by one: a broker may change the order of different topics

    def run(self, until_ms: int, real_pace: bool = False, told: Callable[[int], None] | None = None) -> None:
        """Runs to `until_ms` of trial time, in real time if `real_pace`.

        Args:
            told: called with the trial milliseconds reached, after each move.
        Raises:
            TrialError: something hangs; the message says what.
        """
        begun_ms = self._real.now().mono_ms - self._clock.now().mono_ms
        while (now_ms := self._clock.now().mono_ms) < until_ms:
            next_ms = min(until_ms, max(now_ms, self._next_ms()))
            if real_pace:
                self._keep_pace(begun_ms + next_ms)
            self._clock.advance_to(next_ms)
            self._settle()
            self._happen(next_ms)
            self._settle()
            self.tally.ticks += 1
            if told:
                told(next_ms)

    def _next_ms(self) -> int:
        times = [board.due_ms for board in self._cast.sensors]
        times += [b.off_at_ms for b in self._cast.relays.values() if b.on and b.off_at_ms is not None]
        if self._moments:
            times.append(self._moments[0].at_ms)
        wake = self._clock.next_wake_ms()
        if wake is not None:
            times.append(wake)
        return min(times)

    def _happen(self, now_ms: int) -> None:
        """All that is due at the boards."""
        for board in self._cast.relays.values():
            was_on = board.on
            echo = board.drop_out(now_ms)
            if was_on and not board.on:
                self._cast.house.switch(board.wire.relay, False, now_ms)
            self._echo(echo)
        while self._moments and self._moments[0].at_ms <= now_ms:
            self._cast.house.advance(now_ms)
            self._moments.pop(0).do(self._scene)
        wall_ms = self._clock.now().wall_ms
        for sensor_board in self._cast.sensors:
            due = sensor_board.due_ms <= now_ms
            if not due and not sensor_board.switched():
                continue
            if due:
                sensor_board.due_ms += sensor_board.every_ms
            self._cast.house.advance(now_ms)
            sent = sensor_board.report(wall_ms)
            if sent is not None:
                self.tally.reports += 1
                self.tally.by_topic[sent.topic] = self.tally.by_topic.get(sent.topic, 0) + 1
                self._cast.link.publish(sent.topic, sent.payload)

    def _echo(self, sent: Sent | None) -> None:
        if sent is not None:
            self.tally.echoes += 1
            self._cast.link.publish(sent.topic, sent.payload, sent.retain)

    def _settle(self) -> None:
        """Stands still until nothing is on its way and no command is left to obey."""
        while True:
            self.quiet.wait()
            if not self._cast.link.inbox:
                return
            while self._cast.link.inbox:
                self._obey(*self._cast.link.inbox.popleft())

    def _obey(self, topic: str, payload: bytes) -> None:
        now = self._clock.now()
        board = self._cast.relays.get(topic)
        if board is not None:
            self.tally.commands += 1
            echo = board.hear(payload, now.mono_ms, now.wall_ms)
            self._cast.house.switch(board.wire.relay, board.on, now.mono_ms)
            self._echo(echo)
        elif topic == self._cast.alive_topic and payload == LET_GO_WORD:
            for held in self._cast.relays.values():
                held.let_go()
                self._cast.house.switch(held.wire.relay, False, now.mono_ms)

    def _keep_pace(self, real_ms: int) -> None:
        while (left_ms := real_ms - self._real.now().mono_ms) > 0:
            self._cast.link.pump(min(0.2, left_ms / 1000.0))
