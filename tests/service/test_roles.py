"""What a helper may ask of a running house over its real socket. Roles are our own."""

import getpass
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from gillhouse.__main__ import cli
from gillhouse.core.edges import PersonRole, PersonSettings
from gillhouse.core.inputs import Input, OperatorAction
from gillhouse.core.outputs import Event, EventKind, Outcome
from gillhouse.core.reasons import Reason
from gillhouse.errors import LocalError
from gillhouse.local import WHO, LocalServer, ask
from gillhouse.requests import answer

LOGIN = getpass.getuser()


@dataclass
class House:
    """Takes everything that reaches it."""

    people: tuple[PersonSettings, ...]
    taken: list[OperatorAction] = field(default_factory=list)

    def submit(self, item: Input) -> Outcome:
        assert isinstance(item, OperatorAction)
        self.taken.append(item)
        return Outcome(events=(Event(EventKind.NOTE, item.subject, None, Reason("override"), {}, (1,)),))

    def status(self) -> dict[str, Any]:
        return {"alarms": []}


@pytest.fixture
def house() -> House:
    ana = PersonSettings("ana", "Ana", ())
    return House((ana, PersonSettings("beno", "Beno", (), role=PersonRole.HELPER)))


@pytest.fixture
def state(tmp_path: Path, house: House, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv(WHO, "")
    server = LocalServer(tmp_path, lambda request, who: answer(house, request, who))
    server.start()
    yield tmp_path
    server.stop()


def run(state: Path, *words: str) -> tuple[int, str]:
    os.environ[WHO] = ""  # each command is a process of its own
    result = CliRunner().invoke(cli, [*words, "--state", str(state)])
    return result.exit_code, result.output + (str(result.exception) if result.exception else "")


FAN = ("override", "tent-fan", "on", "--why", "stale", "--for")


def test_a_helper_runs_a_fan_for_twenty_minutes_and_no_longer(state: Path, house: House) -> None:
    assert run(state, "--who", "beno", *FAN, "20m")[0] == 0
    code, said = run(state, "--who", "beno", *FAN, "21m")
    assert code != 0 and "20 min at most" in said
    assert [(act.who, act.for_ms) for act in house.taken] == [(f"beno ({LOGIN})", 1_200_000)]


def test_an_owner_and_a_login_nobody_is_named_for_may_run_it_longer(state: Path, house: House) -> None:
    assert run(state, "--who", "ana", *FAN, "2h")[0] == 0
    assert run(state, *FAN, "2h")[0] == 0
    assert [act.who for act in house.taken] == [f"ana ({LOGIN})", LOGIN]


def test_a_login_that_is_a_helpers_stays_one_whatever_name_is_given(state: Path, house: House) -> None:
    house.people = (
        house.people[0],
        PersonSettings("beno", "Beno", (), role=PersonRole.HELPER, logins=(LOGIN,)),
    )
    for who in ([], ["--who", "ana"]):
        code, said = run(state, *who, *FAN, "2h")
        assert code != 0 and "20 min at most" in said
    assert house.taken == []


def test_other_requests_are_held_to_the_same_roles(
    state: Path, house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(WHO, "beno")
    for request in (
        {"ask": "batch", "act": "end", "batch": "B1"},
        {"ask": "measure", "space": "tent"},
        {"ask": "away", "sensors": ["rh"], "for_ms": 1},
        {"ask": "act", "act": "shelve", "subject": "door-open:tent", "for_ms": 1},
    ):
        with pytest.raises(LocalError, match="for an owner"):
            ask(state, request)
    ask(state, {"ask": "act", "act": "note", "subject": "tent", "text": "wiped the floor"})
    assert [act.text for act in house.taken] == ["wiped the floor"]


def test_a_name_nobody_has_is_told(state: Path) -> None:
    code, said = run(state, "--who", "carla", *FAN, "5m")
    assert code != 0 and "there is no person 'carla'" in said and "ana, beno" in said
