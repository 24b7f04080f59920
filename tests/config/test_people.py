"""People, rota, channels and card as the parts around the core get them, read off the file by hand."""

from datetime import date
from pathlib import Path

import pytest

from gillhouse.commands.alerts_told import people_told
from gillhouse.config import load, load_files
from gillhouse.core.edges import (
    WAKES,
    CardSettings,
    Neighbour,
    PersonRole,
    ReachSettings,
    RotaSettings,
    ShutOff,
)
from gillhouse.errors import ConfigError

FARM = """
farm: {name: Test farm, zone: Europe/Rome}
spaces:
  tent:
    {name: Tent, kind: tent, walk_in: no, volume_m3: 9, crop: {species: reishi, stage: fruiting, kg: 40}}
channels:
  text: {kind: sms, device: /dev/ttyUSB0, look_every: 5 s}
  post:
    kind: mail
    host: smtp.example.org
    sender: box@example.org
    answers: {host: imap.example.org, username: box, password_file: "credential:post"}
  horn: {kind: mqtt, topic: farm/horn, wakes: {rings: yes, why: a horn under the bedroom window}}
people:
  ana:
    name: Ana
    phone: "+44 7700 900123"
    logins: [ana]
    quiet: {start: 22:00, end: 06:30}
    reach: [{channel: text}, {channel: post, to: ana@example.org}]
  beno: {name: Beno, role: helper, reach: [{channel: horn}]}
rota:
  holiday: {first: [beno], start: 2026-12-24, end: 2027-01-02}
  weekend: {first: [beno, ana], weekdays: [sun, sat], hands_over: 07:30}
card:
  emergency: "112"
  shut_offs: [{what: water, where: behind the tank, how: a quarter turn}]
  ring: [{who: the electrician, number: 055 123}]
"""


def test_everything_said_of_people_arrives() -> None:
    config = load_files({"farm.yaml": FARM}, Path("/farm/farm.yaml"))
    ana, beno = config.alerts.people
    assert ana.reach == (ReachSettings("text", "+447700900123"), ReachSettings("post", "ana@example.org"))
    assert (ana.role, ana.logins, ana.quiet_from_min, ana.quiet_to_min) == (
        PersonRole.OWNER, ("ana",), 22 * 60, 6 * 60 + 30,
    )  # fmt: skip
    assert (beno.role, beno.phone, beno.quiet_from_min) == (PersonRole.HELPER, "", None)
    assert config.alerts.rota == (
        RotaSettings("holiday", ("beno",), date(2026, 12, 24), date(2027, 1, 2)),
        RotaSettings("weekend", ("beno", "ana"), None, None, (5, 6), 7 * 60 + 30),
    )
    assert config.card == CardSettings(
        "112", "", (ShutOff("water", "behind the tank", "a quarter turn"),),
        (Neighbour("the electrician", "055 123"),),
    )  # fmt: skip
    assert not [one for one in config.warnings if "WAKE" in one]


def test_a_credential_is_found_where_the_service_manager_puts_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", "/run/credentials/gillhouse.service")
    (_, post, _) = load_files({"farm.yaml": FARM}, Path("/farm/farm.yaml")).alerts.channels
    assert post.answers is not None
    assert post.answers.password_file == "/run/credentials/gillhouse.service/post"
    assert (post.answers.port, post.answers.folder, post.answers.every_ms) == (993, "INBOX", 60_000)


def test_each_kind_states_whether_it_wakes_and_the_grower_may_say_otherwise() -> None:
    text, post, horn = load_files({"farm.yaml": FARM}).alerts.channels
    assert [(one.wakes, one.wakes_why) for one in (text, post, horn)] == [
        (True, ""), (False, ""), (True, "a horn under the bedroom window"),
    ]  # fmt: skip
    assert [kind for kind, wakes in WAKES.items() if wakes] == ["sms"]


def test_check_says_plainly_when_nothing_can_wake_anyone() -> None:
    quiet = FARM.replace(", wakes: {rings: yes, why: a horn under the bedroom window}", "")
    muted = quiet.replace("look_every: 5 s", "wakes: {rings: no, why: the telephone lies in the office}")
    assert [one for one in load_files({"farm.yaml": muted}).warnings if "CAN WAKE ANYONE" in one]
    (one,) = [one for one in load_files({"farm.yaml": quiet}).warnings if one.startswith("people.")]
    assert one == "people.beno: gets the alarms that must wake someone, by no way that rings at night"


@pytest.mark.parametrize(("kind", "library"), [("sms", "serial"), ("apprise", "apprise")])
def test_a_channel_whose_library_is_not_installed_is_told_by_check(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, library: str
) -> None:
    monkeypatch.setattr(
        "gillhouse.config.people_checks.find_spec", lambda name: None if name == library else object()
    )
    path = tmp_path / "farm.yaml"
    (tmp_path / "chat").write_text("json://localhost\n")
    (tmp_path / "chat").chmod(0o600)
    chat = "channels:\n  chat: {kind: apprise, url_file: chat}\n  text: {kind: sms, device: /dev/ttyUSB0}\n"
    path.write_text(FARM[: FARM.index("channels:")] + chat)
    with pytest.raises(ConfigError) as told:
        load(path)
    (mistake,) = told.value.mistakes
    assert f"{kind} needs {library}, not installed here" in mistake and f"gillhouse[{kind}]" in mistake


def test_check_tells_people_channels_and_rota_in_words() -> None:
    said = list(people_told(load_files({"farm.yaml": FARM})))
    for line in (
        "Channel text: sms, rings at night; answers are read from it every 5 s",
        "Channel post: mail, does not ring at night; answers are fetched from imap.example.org every 60 s",
        "Channel horn: mqtt, rings at night (a horn under the bedroom window)",
        "  owner; is ana on this machine; asleep from 22:00 to 06:30",
        "  helper",
        "Rota holiday: every day from 2026-12-24 to 2027-01-02, changing at 08:00: first Beno",
        "Rota weekend: sat, sun, changing at 07:30: first Beno, then Ana",
    ):
        assert line in said, (line, said)
