"""docs/SECURITY.md: all 22 items are there, and every test it names exists."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "SECURITY.md").read_text(encoding="utf-8")
ITEM = re.compile(r"^\| (\d+) \| (.+?) \| (.+) \|$", re.MULTILINE)
NAMED = re.compile(r"`(tests/[\w/]+\.py)::(\w+)`")


def functions(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def test_every_item_is_there_with_a_test() -> None:
    items = ITEM.findall(PAGE)
    assert [int(number) for number, *_ in items] == list(range(1, 23))
    assert all(NAMED.findall(tests) for _, _, tests in items)


def test_every_named_test_exists() -> None:
    named = NAMED.findall(PAGE)
    assert len(named) > 40
    missing = [
        f"{file}::{name}"
        for file, name in named
        if not (ROOT / file).is_file() or name not in functions(ROOT / file)
    ]
    assert missing == []


def test_it_says_how_to_report_and_what_is_not_defended() -> None:
    for heading in ("Tell us of a hole", "What is not defended", "What is kept of people"):
        assert f"\n## {heading}" in PAGE
    assert "within 7 days" in PAGE
    assert "there is none yet" in PAGE
