"""What a relay board says of itself, against what it was told.

What lives here: taking a board's report, judging whether it followed, and the lock after a relay stayed on.
What must not: commands (see `interlock`), alarms (see `farm`). How: an echo is awaited for `echo_within_ms`
after a change. A board that says otherwise after that is told again, though not more often than
`RETELL_MS`; one that stays on though told off is locked until a person resets it, because a welded contact
will not open by being asked again.
"""

from enum import StrEnum

from gillhouse.core.asks import RelayState
from gillhouse.core.inputs import RelayReport
from gillhouse.core.instant import Instant
from gillhouse.core.settings import RelaySettings

RETELL_MS = 10_000
"""Least time between two tellings of a board that does not follow; common practice, no source."""


class Proof(StrEnum):
    """Whether a relay did as told."""

    UNKNOWN = "unknown"
    """The board echoes nothing, or the relay is advise only."""
    AWAITED = "awaited"
    FOLLOWED = "followed"
    SILENT = "silent"
    """Gone, or no echo came in time, or it says off though told on."""
    STUCK_ON = "stuck-on"
    """Says on though told off."""


def proof(now: Instant, relay: RelaySettings, state: RelayState) -> Proof:
    """Whether the board of `relay` did as told, as far as it has said."""
    if relay.advise_only:
        return Proof.UNKNOWN
    if state.locked and not state.by_proof and state.echoed is not False:
        return Proof.STUCK_ON
    if not state.available:
        return Proof.SILENT
    if relay.echo_within_ms is None or not state.told:
        return Proof.UNKNOWN
    if state.echoed is state.on:
        return Proof.FOLLOWED
    if now.mono_ms < state.told_at + relay.echo_within_ms:
        return Proof.AWAITED
    return Proof.STUCK_ON if state.echoed is True else Proof.SILENT


def report(now: Instant, relay: RelaySettings, state: RelayState, said: RelayReport) -> None:
    """Takes what the board said. If it came back or does otherwise, the next `grant` tells it again."""
    if said.available and not state.available:
        state.told = False
    state.available = said.available
    if said.on is None:
        return
    state.echoed = said.on
    wait_ms = max(relay.echo_within_ms or 0, RETELL_MS)
    if said.on is not state.on and now.mono_ms >= state.told_at + wait_ms:
        state.told, state.told_at = False, now.mono_ms


def check(now: Instant, relay: RelaySettings, state: RelayState) -> None:
    """Locks a relay that stayed on past the time its echo was due."""
    if not state.on and state.echoed is True and proof(now, relay, state) is Proof.STUCK_ON:
        state.locked, state.by_proof = True, False


def due_ms(now: Instant, relay: RelaySettings, state: RelayState) -> int | None:
    """When an awaited echo becomes overdue; None if none is awaited."""
    if proof(now, relay, state) is not Proof.AWAITED or relay.echo_within_ms is None:
        return None
    return state.told_at + relay.echo_within_ms


def say_again(state: RelayState) -> None:
    """After the broker came back: the next `grant` repeats what the relay shall do."""
    state.told = False


def reset(state: RelayState) -> bool:
    """A person looked at the relay and lets it run again. Returns whether it was locked."""
    was_locked, state.locked, state.by_proof, state.echoed = state.locked, False, False, None
    return was_locked
