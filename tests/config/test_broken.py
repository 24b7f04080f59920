"""Broken configs, one small file each, with every mistake expected of it.

The expected lines are the project's own wording (no outside source can hold them); line and column of each
were compared with the file by eye when it was written, and again by `test_place_is_where_the_key_stands`.
"""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from gillhouse.commands.check import command
from gillhouse.config import load
from gillhouse.errors import ConfigError

BROKEN = sorted((Path(__file__).parent / "broken").glob("*.yaml"))
MISTAKE = re.compile(
    r"(?P<file>[^:]+):(?P<line>\d+):(?P<column>\d+): "
    r"(?:(?P<key>[\w-]+(?:\.[\w-]+| #\d+)*): )?(?P<text>\S.*)"
)


def mistakes_of(path: Path) -> list[str]:
    with pytest.raises(ConfigError) as caught:
        load(path)
    return [line.replace(f"{path.parent}/", "") for line in caught.value.mistakes]


@pytest.mark.parametrize("path", BROKEN, ids=lambda path: path.stem)
def test_every_mistake_is_named(path: Path) -> None:
    assert mistakes_of(path) == path.with_suffix(".txt").read_text(encoding="utf-8").splitlines()


@pytest.mark.parametrize("path", BROKEN, ids=lambda path: path.stem)
def test_place_is_where_the_key_stands(path: Path) -> None:
    """Line and column point at the last part of the key, or at the group that lacks it."""
    lines = path.read_bytes().decode("latin-1").splitlines()
    for mistake in mistakes_of(path):
        found = MISTAKE.fullmatch(mistake)
        assert found is not None, mistake
        last = (found["key"] or "").split(".")[-1]
        here = lines[int(found["line"]) - 1][int(found["column"]) - 1 :]
        absent = "is missing" in found["text"] or "nothing" in found["text"]
        if last and "#" not in last and not absent:
            assert here.startswith(last), mistake


def test_at_least_twenty() -> None:
    assert len(BROKEN) >= 20


def test_check_prints_them_all_and_exits_2() -> None:
    path = Path(__file__).parent / "broken" / "many-at-once.yaml"
    result = CliRunner().invoke(command, ["--config", str(path)])
    assert result.exit_code == 2
    for line in path.with_suffix(".txt").read_text(encoding="utf-8").splitlines():
        assert line in result.output
    assert "7 mistakes" in result.output


def test_absent_file_says_so(tmp_path: Path) -> None:
    assert "cannot be read: No such file" in mistakes_of(tmp_path / "farm.yaml")[0]


def test_huge_file_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "farm.yaml"
    path.write_text("# " + "x" * 1_000_001, encoding="utf-8")
    assert "over 1,000,000 bytes" in mistakes_of(path)[0]


def test_a_secret_never_stands_in_a_message() -> None:
    path = Path(__file__).parent / "broken" / "secret-in-the-file.yaml"
    assert "hunter2" in path.read_text(encoding="utf-8")
    assert "hunter2" not in "\n".join(mistakes_of(path))
