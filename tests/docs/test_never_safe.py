"""No text of ours says that it is safe to work, touch or enter: software can lie about isolation.

Source: the project's own safety rules; what a program knows is only what it asked for.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
NEVER = re.compile(r"\bsafe (to|for) (work|touch|enter|go|open|walk|breathe|people)", re.IGNORECASE)
DENIED = re.compile(r"\b(never|not|no|none|nothing)\b", re.IGNORECASE)


def _texts() -> Iterator[tuple[str, str]]:
    """Every string of the package (comments are for us), the config, and the docs by paragraph."""
    for path in sorted((ROOT / "daemon").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield f"{path.name}:{node.lineno}", node.value
    pages = [*sorted((ROOT / "docs").rglob("*.md")), *sorted((ROOT / "config").rglob("*.yaml"))]
    for path in [ROOT / "README.md", *pages]:
        for paragraph in path.read_text(encoding="utf-8").split("\n\n"):
            yield path.name, " ".join(paragraph.split())


def test_nothing_says_it_is_safe_to() -> None:
    """Only a sentence that denies it may hold the words."""
    said = []
    for where, text in _texts():
        for found in NEVER.finditer(text):
            sentence = text[: found.end()].rpartition(". ")[2]
            if not DENIED.search(sentence):
                said.append((where, sentence))
    assert said == []


def test_the_check_finds_what_it_looks_for() -> None:
    assert NEVER.search("Fan off: safe to work inside.") and not DENIED.search("Fan off: safe to work")
