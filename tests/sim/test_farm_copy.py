"""A trial's farm file: every wire to the real world is cut, everything else stays."""

from pathlib import Path

import pytest

from gillhouse.config import load, shipped_dir
from gillhouse.sim.farm_copy import trial_text, write_trial
from gillhouse.sim.link import TrialError
from gillhouse.sim.trial import Length, Trial
from sim.farms import trial_config


def made(folder: Path, **replaced: str) -> str:
    text = (shipped_dir() / "farm.yaml").read_text(encoding="utf-8")
    for old, new in replaced.items():
        assert old in text
        text = text.replace(old, new)
    return trial_text(text)


def test_every_topic_is_a_trials_and_the_broker_is_this_machine(tmp_path: Path) -> None:
    config = trial_config(tmp_path, 4711)
    assert (config.broker.host, config.broker.port, config.broker.protocol) == ("127.0.0.1", 4711, "3.1.1")
    assert config.broker.base_topic.startswith("trial/")
    topics = {route.topic for route in config.routes}
    for wire in config.relay_wires.values():
        topics |= {t for t in (wire.command_topic, wire.state_topic, wire.available_topic) if t}
    assert len(topics) > 20
    assert {topic for topic in topics if not topic.startswith("trial/")} == set()


def test_what_the_farm_is_stays_as_it_was(tmp_path: Path) -> None:
    real, trial = load(shipped_dir() / "farm.yaml"), trial_config(tmp_path)
    assert trial.farm.spaces == real.farm.spaces
    assert trial.farm.sensors == real.farm.sensors
    assert trial.farm.programmes == real.farm.programmes
    assert {r.sensor: (r.format, r.path) for r in trial.routes} == {
        r.sensor: (r.format, r.path) for r in real.routes
    }


def test_it_says_what_it_is_and_lets_its_relays_go(tmp_path: Path) -> None:
    trial = trial_config(tmp_path)
    assert trial.farm.name.startswith("SIMULATED")
    assert not any(relay.advise_only for relay in trial.farm.relays.values())
    assert (tmp_path / "farm.yaml").read_text(encoding="utf-8").startswith("# SIMULATED")


def test_nobody_real_is_called(tmp_path: Path) -> None:
    """A farm with mail, a webhook and a mirror: in its trial none of them is left."""
    text = (shipped_dir() / "farm.yaml").read_text(encoding="utf-8")
    text = text.replace(
        "channels:\n",
        "channels:\n"
        "  post: {kind: mail, host: mail.example.org, sender: farm@example.org}\n"
        "  phone:\n    kind: webhook\n    url: https://hooks.example.org/farm\n",
    ).replace(
        "    reach:\n      - {channel: house}\n",
        "    reach:\n    - {channel: house}\n    - channel: post\n      to: ana@example.org\n",
    )
    text += '\nmirror: {url: "http://127.0.0.1:8428"}\n'
    (tmp_path / "farm.yaml").write_text(text, encoding="utf-8")
    real = load(tmp_path / "farm.yaml")
    assert {channel.kind for channel in real.alerts.channels} == {"mqtt", "mail", "webhook"}
    assert real.mirror is not None
    (tmp_path / "trial").mkdir()
    trial = load(write_trial(real.files, tmp_path / "trial"))
    assert {channel.kind for channel in trial.alerts.channels} == {"memory"}
    assert {reach.to for person in trial.alerts.people for reach in person.reach} == {""}
    assert [person.name for person in trial.alerts.people] == [person.name for person in real.alerts.people]
    assert trial.mirror is None


def test_a_second_trial_of_a_trial_changes_nothing_more(tmp_path: Path) -> None:
    """The file left behind can be tried again."""
    once = trial_config(tmp_path, 1)
    (tmp_path / "again").mkdir()
    again = load(write_trial(once.files, tmp_path / "again"))
    assert again.farm.name == once.farm.name
    assert again.routes == once.routes
    assert again.relay_wires == once.relay_wires


def test_a_missing_broker_section_and_advice_are_added() -> None:
    text = trial_text("farm:\n  name: Small\n  zone: UTC\nspaces: {}\n")
    assert "host: 127.0.0.1" in text
    assert "advise_only: no" in text
    flow = trial_text("{farm: {name: Small, zone: UTC}, spaces: {}}")
    assert "advise_only: no, name" in flow


@pytest.mark.parametrize("text", ["", "- a\n- b\n", "just words", "a: [1, 2"])
def test_what_is_no_farm_file_is_refused(text: str) -> None:
    with pytest.raises(TrialError, match="farm file"):
        trial_text(text)


def test_a_farm_with_real_topics_is_no_trial() -> None:
    with pytest.raises(TrialError, match="is no trial topic"):
        Trial(load(shipped_dir() / "farm.yaml"), Length(1, 1.0))
