"""The helper card: what stands on it follows from the config; the expected lines were picked by hand."""

import html
import re
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from gillhouse.alerts import card as cards
from gillhouse.alerts.occurs import IN_SPACES, ON_FARM, where
from gillhouse.commands.card import command
from gillhouse.config import Config, load, load_files, shipped_dir
from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.role_words import ROLE_WORD
from gillhouse.core.settings import RelaySettings, Role

NOW = 1_791_864_840_000  # Tue 13 Oct 2026 04:14 UTC: `date -u -d @1791864840` of GNU coreutils

FARM = """
farm: {name: Test farm, zone: Europe/Rome, advise_only: no}
spaces:
  store: {name: Store, kind: cold store, walk_in: no, volume_m3: 9}
  tent: {name: Tent <b>, kind: tent, walk_in: yes, volume_m3: 9, crop: {species: reishi, stage: rest, kg: 4}}
sensors:
  rh: {space: tent, quantity: humidity, unit: "%", topic: t/rh, format: number, every: 10 s}
channels:
  text: {kind: sms, device: /dev/ttyUSB0}
people:
  ana: {name: Ana, phone: "+44 7700 900123", quiet: {start: 22:00, end: 06:30}, reach: [{channel: text}]}
  beno: {name: Beno, role: helper, phone: "+44 7700 900124", reach: [{channel: text}]}
card:
  emergency: "112"
  address: second gate
  shut_offs: [{what: water, where: behind the tank, how: red handle}]
  ring: [{who: electrician, number: "055 0101"}]
  notes: [The dog is friendly]
"""


@pytest.fixture
def config() -> Config:
    return load_files({"farm.yaml": FARM})


def test_it_says_what_the_config_says(config: Config) -> None:
    said = cards.text(cards.card(config, NOW))
    for line in (
        "HELPER CARD: Test farm    made 13 Oct 2026",
        "Rescue services: 112    We are at: second gate",
        "get out, ring 112 first",
        "  Ana  +447700900123  owner  asleep 22:00 to 06:30",
        "  Beno  +447700900124  helper",
        "  electrician  055 0101",
        "  water: behind the tank (red handle)",
        'such as "ok 4711"',
        "gillhouse --who beno override RELAY on --for 20m",
        "  The dog is friendly",
    ):
        assert line in said, line


@pytest.mark.parametrize("role", list(Role))
def test_whatever_a_relay_switches_it_stands_on_it_in_words(config: Config, role: Role) -> None:
    relay = RelaySettings(f"some-{role}", role, "tent", advise_only=False)
    farm = replace(config.farm, relays={relay.id: relay})
    said = cards.text(cards.card(replace(config, farm=farm), NOW))
    assert f"{relay.id}: {ROLE_WORD[role]}, Tent <b>" in said


def test_only_calls_that_can_come_stand_on_it(config: Config) -> None:
    titles = {line.title: line.where for _, lines in cards.card(config, NOW).calls for line in lines}
    assert titles["DRY"] == titles["WET"] == "Tent <b>"
    assert titles["STORE WARM"] == "Store"
    for kind in (
        "co2-high",
        "co2-people-30000",
        "relay-stuck",
        "tank-empty",
        "hose",
        "door-open",
        "store-open",
    ):
        assert KINDS[kind].title not in titles, kind


def test_every_call_of_the_shipped_farm_is_told_with_what_to_do() -> None:
    config = load(shipped_dir() / "farm.yaml")
    shown = cards.card(config, NOW)
    told = {line.title: line for _, lines in shown.calls for line in lines}
    for kind, one in KINDS.items():
        assert (one.title in told) is (where(kind, config.farm) is not None)
        if one.title in told:
            assert (told[one.title].first, told[one.title].means) == (one.action, one.consequence)
    assert told["HOSE"].where == "Barn"


def test_the_rows_name_kinds_there_are() -> None:
    assert set(IN_SPACES) | set(ON_FARM) <= set(KINDS)
    assert not set(IN_SPACES) & set(ON_FARM)


def test_what_nobody_wrote_down_is_a_line_to_fill_in() -> None:
    bare = load_files({"farm.yaml": FARM[: FARM.index("card:")]})
    shown = cards.card(bare, NOW)
    assert shown.emergency == shown.address == cards.BLANK
    assert [one.what for one in shown.shut_offs] == list(cards.BLANK_SHUT_OFFS)
    assert cards.text(shown).count(cards.BLANK) >= 7


def test_without_a_way_to_answer_none_is_promised(config: Config) -> None:
    silent = replace(config, alerts=replace(config.alerts, channels=()))
    said = cards.text(cards.card(silent, NOW))
    assert "ok 4711" not in said and "gillhouse ack" in said


def test_safety_comes_first_and_nothing_is_called_safe(config: Config) -> None:
    shown = cards.card(config, NOW)
    said = cards.text(shown)
    assert said.index("FIRST OF ALL") < said.index("HOW TO ANSWER")
    assert shown.safety[-1] == cards.NOT_SAFE
    for words in ("licensed electrician", "local code", "plug out", "mask on", "Never alone"):
        assert words in said
    assert re.findall(r"(?i)\bsafe\b", said.replace("no safe off", "").replace(cards.NOT_SAFE, "")) == []


def test_the_page_is_whole_in_itself_and_says_the_same(config: Config) -> None:
    shown = cards.card(config, NOW)
    page = cards.page(shown)
    assert "default-src 'none'" in page and "<script" not in page
    assert not re.search(r"""(?:src|href)\s*=|url\(|@import""", page)
    assert "Tent &lt;b&gt;" in page and "Tent <b>" not in page  # a name is a name
    words = html.unescape(re.sub(r"<[^>]+>", " ", page))
    for line in (*shown.safety, *shown.answers, *shown.by_hand, *shown.notes):
        assert line in words
    for _, calls in shown.calls:
        for one in calls:
            assert one.title in words and one.first in words


def test_the_command_writes_a_file_or_says_why_not(tmp_path: Path) -> None:
    farm = tmp_path / "farm.yaml"
    farm.write_text(FARM)
    out = tmp_path / "card.html"
    done = CliRunner().invoke(command, ["--config", str(farm), "--format", "html", "--out", str(out)])
    assert done.exit_code == 0 and "written to" in done.output
    assert out.read_text().startswith("<!DOCTYPE html>")
    failed = CliRunner().invoke(command, ["--config", str(farm), "--out", str(tmp_path / "no" / "card")])
    assert failed.exit_code != 0 and "cannot write" in failed.output
    assert CliRunner().invoke(command, ["--config", str(farm)]).output.startswith("HELPER CARD")
