"""Whether a load does as its relay was told, by inputs that see it: flow, current, a running contact.

Here: the judgement on one relay, both ways. Not here: alarms and bars (`guarding`), what a board says of its
own contact (`echo`). How: after each change the proofs have their time. Then a report that says otherwise
counts, and only one that was made after that time, unless the input tells every change at once. Off that
runs is judged at once. On that does not run is judged at once too; a run shorter than the proof's time is
judged when it is over, and only several in a row are believed, for one short pulse may go unseen.
"""

from collections.abc import Mapping, Sequence

from gillhouse.core.asks import RelayState
from gillhouse.core.guard_settings import ProofSettings
from gillhouse.core.guard_state import LoadProof
from gillhouse.core.quality import SensorState, drives
from gillhouse.core.settings import RelaySettings, SensorSettings

MISSED_RUNS = 3
"""Short runs in a row that were never seen to run, and the load counts as dead. Our choice."""

Inputs = Mapping[str, tuple[SensorSettings, SensorState]]
"""Proof inputs by id."""


def look(mono_ms: int, relay: RelaySettings, state: RelayState, proof: LoadProof, inputs: Inputs) -> None:
    """Brings `proof` to this moment."""
    own = [(one, *inputs[one.sensor]) for one in relay.proofs if one.sensor in inputs]
    proof.known = bool(own) and all(drives(known) and known.good_value is not None for _, _, known in own)
    if state.on and proof.run_ms != state.since_mono_ms:
        proof.run_ms, proof.seen = state.since_mono_ms, False
    says_on = proof.known and all(_says_on(known) for _, _, known in own)
    since_ms = proof.run_ms
    if since_ms is not None and says_on and all(_heard_since(since_ms, *one[1:]) for one in own):
        proof.seen = True
    proof.running = state.on and says_on and proof.seen
    if not proof.known:
        return
    over_ms = state.since_mono_ms
    if state.on:
        proof.stuck = False
        if says_on and proof.seen:
            proof.dead, proof.missed = False, 0
        elif _any_proves(mono_ms, over_ms, own, on=False):
            proof.dead = True
        return
    proof.stuck = _any_proves(mono_ms, over_ms, own, on=True)
    if proof.run_ms is not None and all(_is_time(mono_ms, over_ms, *one) for one in own):
        _judge(proof, all(one.on_change or one.pulses is not None for _, one, _ in own))
        proof.run_ms = None


def due_ms(mono_ms: int, relay: RelaySettings, state: RelayState, inputs: Inputs) -> int | None:
    """When what is awaited counts as missing though no report comes; None: only a report can tell."""
    times = [
        state.since_mono_ms + one.within_ms
        for one in relay.proofs
        if one.sensor in inputs and inputs[one.sensor][0].on_change
    ]
    return min((time for time in times if time > mono_ms), default=None)


def _judge(proof: LoadProof, misses_nothing: bool) -> None:
    """Judges a run that is over. Reports now and then may miss a short one; then it says nothing."""
    if proof.seen:
        proof.dead, proof.missed = False, 0
    elif misses_nothing:
        proof.missed += 1
        proof.dead = proof.dead or proof.missed >= MISSED_RUNS


def _says_on(known: SensorState) -> bool:
    return known.good_value is not None and known.good_value >= 0.5


def _heard_since(since_ms: int, settings: SensorSettings, known: SensorState) -> bool:
    return settings.on_change or known.good_ms >= since_ms


def _is_time(
    mono_ms: int, changed_ms: int, proof: ProofSettings, settings: SensorSettings, known: SensorState
) -> bool:
    """The proof had its time, and what is known was seen after it."""
    end_ms = changed_ms + proof.within_ms
    return mono_ms >= end_ms and (settings.on_change or known.good_ms >= end_ms)


def _any_proves(
    mono_ms: int,
    changed_ms: int,
    own: Sequence[tuple[ProofSettings, SensorSettings, SensorState]],
    on: bool,
) -> bool:
    return any(
        _says_on(known) is on
        and _is_time(mono_ms, changed_ms, one, settings, known)
        # A count that grew since before the change may have grown before the change.
        and (not on or settings.pulses is None or known.counted_from_ms >= changed_ms + one.within_ms)
        for one, settings, known in own
    )
