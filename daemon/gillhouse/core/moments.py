"""When the farm must be looked at though nothing comes in: the soonest moment of each kind, kept at hand.

Here: bookkeeping, so that an ordinary reading asks nobody when anything is due. Not here: what is done then
(`farm`). Nothing of this is remembered over a restart: all of it follows from plan and state.
"""

from dataclasses import dataclass, field

from gillhouse.core import alarm_relay, guarding, measuring, mode_turns
from gillhouse.core.demand import earliest
from gillhouse.core.house import Plan, State
from gillhouse.core.instant import Instant
from gillhouse.core.interlock import next_deadline_ms
from gillhouse.core.quality import silent_from_ms
from gillhouse.core.space import due_ms
from gillhouse.core.standing import link_lost_ms

LATEST_WAKE_MS = 1_000
"""A deadline that handling has not cleared is tried again no sooner than this."""


@dataclass(slots=True)
class Moments:
    """Monotonic milliseconds, unless a name says wall; None: nothing of that kind is awaited."""

    silence_ms: int | None = None
    """When the next sensor will have been silent for too long, if nothing more comes of it."""
    relays_ms: int | None = None
    guard_ms: int | None = None
    """Of the inputs that protect."""
    book_ms: int | None = None
    """Of the alarm book."""
    crops_wall_ms: int | None = None
    space_ms: dict[str, int | None] = field(default_factory=dict)
    spaces_ms: int | None = None
    """The soonest of them..."""
    spaces_moved: bool = True
    """... which has to be looked for again."""

    def forget(self, plan: Plan, state: State) -> None:
        """Works out every moment anew, but that of the crops: that one needs the settings as given."""
        now = Instant(state.wall_ms, state.mono_ms)
        self.silence_ms = next_silence_ms(plan, state)
        self.relays_ms = next_deadline_ms(state.relays, plan.settings)
        self.guard_ms = earliest([*guarding.next_ms(plan, state)])
        self.book_ms = state.book.next_deadline_ms()
        self.space_ms = {space: due_ms(own, state.spaces[space], now) for space, own in plan.spaces.items()}
        self.spaces_moved = True

    def look_at(self, space: str, at_ms: int | None) -> None:
        """Notes when a space must be looked at next."""
        if self.space_ms[space] != at_ms:
            self.space_ms[space], self.spaces_moved = at_ms, True

    def next_ms(self, plan: Plan, state: State) -> int | None:
        """The soonest of all."""
        if self.silence_ms is not None and self.silence_ms <= state.mono_ms + LATEST_WAKE_MS * 5:
            self.silence_ms = next_silence_ms(plan, state)
        if self.spaces_moved:
            self.spaces_ms, self.spaces_moved = earliest([*self.space_ms.values()]), False
        moments = [self.relays_ms, self.guard_ms, self.book_ms, self.silence_ms, self.spaces_ms]
        if self.crops_wall_ms is not None:
            moments.append(state.mono_ms + self.crops_wall_ms - state.wall_ms)
        if state.calls.wake_ms is not None and plan.settings.calling.people:
            moments.append(state.mono_ms + state.calls.wake_ms - state.wall_ms)
        moments += [held.until_ms for held in state.overrides.values()]
        moments += measuring.next_ms(state)
        if plan.guard.alarm_relays:
            moments += alarm_relay.next_ms(plan, state)
        if state.modes or state.stays or state.recovering:
            moments += mode_turns.next_ms(plan, state)
        lost_ms = link_lost_ms(state)
        if lost_ms is not None and state.mono_ms < lost_ms:
            moments.append(lost_ms)
        soonest = earliest(moments)
        return None if soonest is None else max(soonest, state.mono_ms + 1)


def next_silence_ms(plan: Plan, state: State) -> int | None:
    """When the next sensor will have been silent for too long, if it stays so."""
    moments = [
        silent_from_ms(sensor, state.sensors[sensor.id])
        for sensor in plan.settings.sensors.values()
        if not state.sensors[sensor.id].silent
    ]
    return min(moments, default=None)
