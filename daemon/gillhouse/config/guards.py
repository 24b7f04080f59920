"""A sound draft -> the core's settings of what protects (`core.guard_settings`)."""

from typing import Any

from gillhouse.config import wire_file as wf
from gillhouse.config.draft import Draft
from gillhouse.config.guard_file import WEEKDAYS, WITHIN_MS, WITHIN_USUAL_MS
from gillhouse.core.guard_settings import LimiterSettings, ProofSettings, SafetySettings, StatementSettings


def safety(draft: Draft) -> SafetySettings:
    given = draft.safety
    return SafetySettings(given.stagger, WEEKDAYS.index(given.test_day), given.test_at)


def statements(draft: Draft) -> dict[str, StatementSettings]:
    return {ident: StatementSettings(ident, one.tested, one.again) for ident, one in draft.statements.items()}


def of_relay(relay: wf.RelayGroup) -> dict[str, Any]:
    """The keys of `RelaySettings` that protect."""
    usual = WITHIN_MS.get(relay.role, WITHIN_USUAL_MS)
    limiter = relay.run_time_limiter
    return {
        "most_per_h_ms": relay.most_per_h,
        "most_per_day_ms": relay.most_per_day,
        "proofs": tuple(
            ProofSettings(proof.sensor, usual if proof.within is None else proof.within)
            for proof in relay.proofs
        ),
        "only_with": relay.only_with,
        "master": relay.master,
        "mains": relay.mains,
        "limiter": None if limiter is None else LimiterSettings(limiter.cuts_after, limiter.tested),
    }
