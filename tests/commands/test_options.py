"""Where a command finds the journal when nobody says: the service's own, yours, the installed one."""

from pathlib import Path

import pytest

from gillhouse.commands import options


@pytest.fixture
def homes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "mine"))
    monkeypatch.setattr(options, "MACHINE_STATE", tmp_path / "machine")
    return tmp_path


def test_it_is_yours_where_nothing_is_installed(homes: Path) -> None:
    assert options.default_state() == homes / "mine" / "gillhouse"


def test_it_is_the_installed_one_where_you_have_none(homes: Path) -> None:
    (homes / "machine").mkdir()
    assert options.default_state() == homes / "machine"
    (homes / "mine" / "gillhouse").mkdir(parents=True)
    assert options.default_state() == homes / "mine" / "gillhouse"


def test_systemd_s_word_goes_first(homes: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (homes / "machine").mkdir()
    monkeypatch.setenv("STATE_DIRECTORY", "/var/lib/a:/var/lib/b")  # systemd.exec(5): separated by colons
    assert options.default_state() == Path("/var/lib/a")
