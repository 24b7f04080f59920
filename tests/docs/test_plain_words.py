"""What a grower reads is said in a grower's words.

The list is our own: words of control rooms and of programs for which a plain one exists. The alarm table and
the night have tests of their own beside them; here are the reasons, the messages, the help and the pages one
reads to learn.
"""

import re
from string import Formatter
from zoneinfo import ZoneInfo

import click
import pytest

from docs.pages import ROOT, name
from gillhouse.__main__ import COMMANDS, cli
from gillhouse.alerts.wording import alarm_text, subject_line
from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.outputs import AlarmNotice, Transition
from gillhouse.core.reasons import WORDS, Reason

JARGON = re.compile(
    r"excursion|deficit|\bleases?\b|\bduty\b|interlock|\btrim|shelv|set.?points?\b|hysteresis|actuator"
    r"|\bPID\b|\bsaturat|monotonic|\bpayload|\bNone\b|\bnull\b|\bTrue\b|\bFalse\b|\bNaN\b",
)
LEARNT_FROM = (
    "README.md",
    "docs/tutorial/first-night.md",
    "docs/explanation/how-it-decides.md",
    "docs/explanation/control.md",
)
NOW = 1_791_951_240_000


def test_the_list_finds_what_it_should() -> None:
    assert JARGON.findall("the lease, a setpoint, duty cycle") == ["lease", "setpoint", "duty"]
    assert JARGON.findall("please release the trough; none left; untrimmed") == []


def test_every_reason_has_words_and_they_are_plain() -> None:
    assert set(WORDS) == set(Reason)
    for reason, template in WORDS.items():
        fixed = "".join(text for text, *_ in Formatter().parse(template))
        assert fixed.strip(), reason
        assert JARGON.findall(fixed) == [], reason
        assert fixed.isascii(), f"{reason}: a message takes plain letters only"


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("transition", [Transition.ACT, Transition.RTN, Transition.ACK])
def test_every_message_is_plain(kind: str, transition: Transition) -> None:
    facts = {"since_ms": NOW, "from_ms": NOW - 600_000}
    notice = AlarmNotice(f"{kind}:tent", kind, 1, transition, KINDS[kind].priority, "B", True, "tent", facts)
    names = {"tent": "Tent"}
    told = alarm_text(notice, names, ZoneInfo("UTC"), NOW)
    assert KINDS[kind].title in told
    assert JARGON.findall(told + subject_line(notice, names)) == []


def test_the_help_is_plain() -> None:
    context = click.Context(cli)
    said = {one: f"{COMMANDS[one][1]} {cli.get_command(context, one).get_help(context)}" for one in COMMANDS}
    made = {one: cli.get_command(context, one) for one in COMMANDS}
    groups = {one: command for one, command in made.items() if isinstance(command, click.Group)}
    assert "batch" in groups
    said |= {
        f"{one} {name}": own.get_help(context)
        for one, group in groups.items()
        for name, own in group.commands.items()
    }
    # A command's name is its name; only what it says must be plain.
    told = {one: re.sub(rf"Usage: .*|gillhouse {one}\b", "", text) for one, text in said.items()}
    assert {one: found for one, text in told.items() if (found := JARGON.findall(text))} == {}


@pytest.mark.parametrize("page", [ROOT / path for path in LEARNT_FROM], ids=name)
def test_the_pages_to_learn_from_are_plain(page) -> None:
    assert JARGON.findall(page.read_text(encoding="utf-8")) == []
