"""What a person of each role may do, and why not.

Here: one question, asked for commands and answers alike, before anything reaches the core. Not here: who
somebody is (the edges know logins, numbers and addresses), and what is refused to everybody (`interlock`,
`by_hand`, the alarm book). An owner may do everything. To say that people are inside, and that they are out
again, is no privilege: everybody may.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from gillhouse.core.edges import HELPER_RUN_MS, PersonRole, PersonSettings
from gillhouse.core.inputs import Act, Input, OperatorAction

EVERYBODY = frozenset({Act.INSIDE, Act.OVER})
HELPERS = EVERYBODY | {
    Act.ACK,
    Act.PASS_ON,
    Act.NOTE,
    Act.HOSED,
    Act.DRY,
    Act.CLEANED,
    Act.FLUSHED,
    Act.DRAINED,
    Act.OVERRIDE,
    Act.RELEASE,
}
"""Acknowledging, noting what was done, and a relay by hand, not for long."""

WEAKEST_FIRST = (PersonRole.GUEST, PersonRole.HELPER, PersonRole.OWNER)


@dataclass(frozen=True, slots=True)
class Actor:
    """Who asks for something, and in which role."""

    who: str
    """As it is written down."""
    role: PersonRole


def actor(people: Sequence[PersonSettings], login: str, named: str = "") -> Actor | None:
    """Who somebody at this machine is.

    Args:
        login: the user of the machine, as the kernel says it. One that is nobody's login is the farm's own.
        named: the person they say they are, by id; it can only take rights away from a login that is known.
    Returns: None where there is no person of that name.
    """
    known = next((one for one in people if login in one.logins), None)
    role = PersonRole.OWNER if known is None else known.role
    if not named:
        return Actor(login, role)
    meant = next((one for one in people if one.id == named), None)
    if meant is None:
        return None
    return Actor(f"{named} ({login})", min(role, meant.role, key=WEAKEST_FIRST.index))


def refusal(role: PersonRole, item: Input) -> str:
    """Why a person of this role may not do that; empty: they may."""
    if role is PersonRole.OWNER:
        return ""
    act = item.act if isinstance(item, OperatorAction) else None
    if role is PersonRole.GUEST:
        return "" if act in EVERYBODY else "a guest changes nothing here; ask an owner"
    if act not in HELPERS:
        return "that is for an owner; a helper acknowledges, notes, and runs a relay for a while"
    if isinstance(item, OperatorAction) and act is Act.OVERRIDE:
        for_ms = item.for_ms
        if for_ms is None or for_ms > HELPER_RUN_MS:
            most = HELPER_RUN_MS // 60_000
            return f"a helper runs a relay for {most} min at most; say --for {most}m, or ask an owner"
    return ""
