"""The day's digest and the weekly list in words.

The first line says the most, because a text message or a lock screen shows no more. Not here: what is counted
(`core.digest`), and when it goes.
"""

from collections.abc import Mapping
from datetime import tzinfo

from gillhouse.alerts.wording import plain
from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.digest import TARGETS
from gillhouse.core.outputs import Call, Facts
from gillhouse.core.reasons import WORDS, Reason
from gillhouse.core.schedule import local

OVER_TARGET: dict[str, str] = {
    # figure of `core.digest.TARGETS` that was passed within seven days: how it is said
    "urgent_a_week": "{n} alarms of priority 1 in a week (at most {most}): mend what they are about",
    "calls_a_night": "{n} calls in one night (at most {most}): nobody keeps that up",
    "night_calls_a_week": "{n} calls at night in a week (at most {most}): nobody keeps that up",
    "alarms_a_day": "{n} alarms on one day (at most {most}): see `gillhouse alarms` for what repeats",
}


def digest_subject(call: Call) -> str:
    """`All quiet`, or how many alarms there were."""
    return "All quiet" if not call.lines else f"{_count(len(call.lines), 'alarm')} since yesterday"


def digest_text(call: Call, names: Mapping[str, str], zone: tzinfo, more: tuple[str, ...] = ()) -> str:
    """The digest.

    Args:
        names: id -> the grower's name, of spaces.
        more: lines that other parts of the house add.
    """
    facts = call.facts
    hours = _number(facts.get("up_s")) // 3600
    said = [f"{digest_subject(call)}: {_number(facts.get('readings'))} readings, running for {hours} h."]
    said += [_line(one, names, zone) for one in call.lines]
    if beyond := _number(facts.get("more")):
        said.append(f"- and {_count(beyond, 'alarm')} more: gillhouse alarms")
    if away_s := _number(facts.get("away_s")):
        said.append(f"Nothing was watched for {max(1, round(away_s / 60))} min since yesterday.")
    over = [name for name in str(facts.get("over") or "").split(", ") if name]
    said += [OVER_TARGET[name].format(n=facts.get(name), most=TARGETS[name]) + "." for name in over]
    return "\n".join([*said, *more]) + "\n"


def weekly_text(call: Call, channel: str) -> str:
    """The reminders. It goes over every channel, so each is tried once a week."""
    head = f"Weekly test of {plain(channel)}: it works if you read this."
    if not call.lines:
        return f"{head} Nothing is due.\n"
    return "\n".join([f"{head} Due:", *(f"- {_reminder(one)}" for one in call.lines)]) + "\n"


def _reminder(line: Facts) -> str:
    subject = line.get("subject")
    return f"{subject}: {WORDS[Reason(str(line['reason']))].format(**line)}"


def _line(line: Facts, names: Mapping[str, str], zone: tzinfo) -> str:
    space = line.get("space")
    where = "Farm" if space is None else names.get(str(space), str(space))
    begun, ended = _number(line.get("from_ms")), line.get("to_ms")
    span = f"{local(begun, zone):%a %H:%M}"
    span += f" to {local(ended, zone):%H:%M}" if isinstance(ended, int) else ", still there"
    times = _number(line.get("times"))
    often = f", {times} times" if times > 1 else ""
    seen = "" if line.get("seen") else ", nobody has seen it"
    held = ", kept quiet" if line.get("held") else ""
    kind = KINDS[str(line["kind"])]
    return f"- {where}: {kind.title.lower()}, {span}{often}{held}{seen}. {kind.action}"


def _number(value: object) -> int:
    return int(value) if isinstance(value, int | float) else 0


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
