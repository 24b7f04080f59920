"""The why-trail of a relay as the grower reads it, and as JSON.

Here: wording and keys. Not here: how the chain is found (`why`).
"""

from datetime import tzinfo
from typing import Any

from gillhouse.audit import told
from gillhouse.audit.record import iso
from gillhouse.audit.runs import End
from gillhouse.audit.why import Chain
from gillhouse.audit.wording import capital, reason_words
from gillhouse.core.role_words import ROLE_WORD
from gillhouse.store.records import CommandAt


def as_text(chain: Chain) -> str:
    """The chain in the grower's words, from the reading to the board."""
    zone = chain.zone
    head = f"{capital(chain.place)}, {ROLE_WORD[chain.relay.role]} ({chain.relay.id})"
    lines = [f"{head}, {told.day(chain.asked_ms, zone)} {_second(chain.asked_ms, zone)}: {_state(chain)}"]
    if chain.command is None:
        lines.append("  It was told nothing before that, as far as the log goes back.")
    else:
        command = chain.command.command
        lines.append(f"  Because: {reason_words(command.reason, command.facts)}.")
        lines += [
            f"  From: {_second(link.at_ms, zone)} {link.words} (no. {link.seq})." for link in chain.causes
        ]
    when = "Held back before" if chain.on else "Held back"
    for one in chain.held_back:
        reason = one.event.reason
        words = reason_words(reason, one.event.facts) if reason else "no reason given"
        lines.append(f"  {when}: {_second(one.ts, zone)} {words}.")
    if chain.standing is not None and chain.standing.event.reason is not None:
        words = reason_words(chain.standing.event.reason, chain.standing.event.facts)
        lines.append(f"  Standing: {_second(chain.standing.ts, zone)} {words}.")
    lines += _after(chain)
    return "\n".join(lines) + "\n"


def _state(chain: Chain) -> str:
    zone, run = chain.zone, chain.run
    if run is None:
        if chain.command is None:
            return "OFF."
        since = _second(chain.command.ts, zone)
        return f"OFF since {since}."
    advised = ", on advice only: nothing was switched" if run.began.command.advise else ""
    until = "" if run.end is End.STILL_ON else f" to {_second(run.to_ms, zone)}"
    return f"ON from {_second(run.from_ms, zone)}{until} ({told.lasted(run.lasted_ms)}){advised}."


def _after(chain: Chain) -> list[str]:
    zone, run, lines = chain.zone, chain.run, []
    if chain.command is not None and not chain.command.command.advise:
        if chain.echo is not None:
            lines.append(f"  Board: answered {_second(chain.echo.now.wall_ms, zone)}.")
        elif chain.relay.echo_within_ms is not None:
            lines.append("  Board: no answer was heard.")
    if run is None:
        return lines
    if run.renewals:
        lines.append(f"  Kept on: told again {told.times(run.renewals)}.")
    if run.end is End.OFF and run.ended is not None:
        ended = run.ended.command
        lines.append(f"  Ended: {_second(run.to_ms, zone)} {reason_words(ended.reason, ended.facts)}.")
    elif run.end is End.TIME_UP:
        lines.append(f"  Ended: {_second(run.to_ms, zone)} its time was up, not told again.")
    elif run.end is End.STOP:
        lines.append(f"  Ended: {_second(run.to_ms, zone)} this box stopped or started.")
    return lines


def _second(ms: int, zone: tzinfo) -> str:
    return f"{told.local(ms, zone):%H:%M:%S}"


def record(chain: Chain) -> dict[str, Any]:  # longer than 40 lines: it is one literal
    """The chain as plain JSON values; keys as in docs/reference/night-json.md."""
    zone, run = chain.zone, chain.run
    return {
        "relay": chain.relay.id,
        "role": chain.relay.role.value,
        "space": chain.relay.space,
        "at": iso(chain.asked_ms, zone),
        "on": chain.on,
        "advise": bool(chain.command and chain.command.command.advise),
        "command": None if chain.command is None else _command(chain.command, zone),
        "run": None
        if run is None
        else {
            "start": iso(run.from_ms, zone),
            "end": iso(run.to_ms, zone),
            "lasted_s": run.lasted_ms / 1000,
            "renewals": run.renewals,
            "ended": run.end.value,
            "ended_by": None if run.ended is None else _command(run.ended, zone),
        },
        "causes": [
            {
                "seq": link.seq,
                "at": iso(link.at_ms, zone),
                "kind": link.kind,
                "words": link.words,
                **link.facts,
            }
            for link in chain.causes
        ],
        "held_back": [
            {
                "at": iso(one.ts, zone),
                "reason": one.event.reason.value if one.event.reason else None,
                "words": reason_words(one.event.reason, one.event.facts) if one.event.reason else None,
            }
            for one in chain.held_back
        ],
        "standing": None
        if chain.standing is None or chain.standing.event.reason is None
        else {
            "at": iso(chain.standing.ts, zone),
            "reason": chain.standing.event.reason.value,
            "words": reason_words(chain.standing.event.reason, chain.standing.event.facts),
        },
        "echo": None
        if chain.echo is None
        else {"seq": chain.echo.seq, "at": iso(chain.echo.now.wall_ms, zone)},
    }


def _command(one: CommandAt, zone: tzinfo) -> dict[str, Any]:
    command = one.command
    return {
        "seq": one.seq,
        "at": iso(one.ts, zone),
        "on": command.on,
        "lease_s": command.lease_ms / 1000,
        "authority": command.authority.name.lower(),
        "reason": command.reason.value,
        "words": reason_words(command.reason, command.facts),
        "facts": dict(command.facts),
        "causes": list(command.causes),
    }
