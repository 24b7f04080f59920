"""The safety pages: pictures as drawn, sources that exist, links from where people begin.

And words never said: nothing this program prints, sends or documents may say that something is safe to work
on; it may say "off was asked for". Places where such words stand must deny them in the same sentence.
"""

import ast
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from docs import safety_pictures
from docs.pages import ROOT
from docs.safety_pictures import DRAWN, PICTURES, drawn, minutes_to

PAGES = {name: ROOT / "docs/how-to" / f"safety-{name}.md" for name in ("mains", "water", "people")}
PROMISE = re.compile(
    r"\b(?:safe (?:to|for) (?:you |us |people )?(?:work|touch|enter|go|open|handle|climb|service|use|be)"
    r"|(?:is|are|now|all) safe\b|safely (?:work|touch|enter|open)|no danger|harmless|risk-free)",
    re.IGNORECASE,
)
"""Words that promise somebody's safety."""
DENIED = re.compile(r"\b(?:never|not|nothing|no|none|nobody|cannot|whether|until)\b|n't\b", re.IGNORECASE)
OTHER_SAFE = re.compile(
    r"(?:reading|message|that was put|so far|tokens?|row|rows|put so far) (?:is|are) safe", re.IGNORECASE
)
"""Of rows on the disk, in notes for whoever changes the code."""


def sentences(text: str) -> list[str]:
    return re.split(r"(?<=[.:;!?])\s+", " ".join(text.split()))


def promises(text: str) -> list[str]:
    """Sentences that promise and do not deny it."""
    return [
        one
        for one in sentences(text)
        if PROMISE.search(one) and not DENIED.search(one) and not OTHER_SAFE.search(one)
    ]


def strings(source: str) -> list[str]:
    """Every string a module holds but the notes of its parts: what it could ever say."""
    tree = ast.parse(source)
    notes = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    bare = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in notes | bare
    ]


def test_the_search_finds_a_promise_and_lets_a_denial_be() -> None:
    assert promises("Mains is off. It is safe to work now.") == ["It is safe to work now."]
    assert promises("The pump is now safe.")
    assert promises("It never says that it is safe to work.") == []
    assert strings('"""Note: safe to work."""\nx = "safe to enter"\n') == ["safe to enter"]


@pytest.mark.parametrize(
    "folder", sorted(one.name for one in (ROOT / "daemon/gillhouse").iterdir() if one.is_dir())
)
def test_the_program_never_says_that_something_is_safe(folder: str) -> None:
    wrong = [
        (path.name, one)
        for path in (ROOT / "daemon/gillhouse" / folder).rglob("*.py")
        for text in strings(path.read_text(encoding="utf-8"))
        for one in promises(text)
    ]
    assert wrong == []


def test_nor_do_its_top_modules_help_files_and_pages() -> None:
    modules = [
        text for path in (ROOT / "daemon/gillhouse").glob("*.py") for text in strings(path.read_text("utf-8"))
    ]
    helps = [
        ast.get_docstring(node) or ""
        for path in (ROOT / "daemon/gillhouse/commands").glob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.FunctionDef)
    ]
    files = [
        path
        for pattern in ("*.md", "*.yaml", "*.html", "*.j2", "*.sh", "*.service", "*.svg")
        for top in ("docs", "config", "deploy", "daemon")
        for path in (ROOT / top).rglob(pattern)
    ]
    texts = [path.read_text(encoding="utf-8") for path in [*files, ROOT / "README.md"]]
    assert len(files) > 40
    assert [one for text in (*modules, *helps, *texts) for one in promises(text.replace("#", " "))] == []


@pytest.mark.parametrize("name", DRAWN)
def test_a_picture_is_as_drawn_whole_and_on_a_page(name: str) -> None:
    text = (PICTURES / name).read_text(encoding="utf-8")
    assert text == drawn(name), "draw them anew: python -m tests.docs.safety_pictures"
    root = ElementTree.fromstring(text)
    assert [child.tag.rsplit("}", 1)[-1] for child in root][:2] == ["title", "desc"]
    assert any(f"(../pictures/{name})" in path.read_text(encoding="utf-8") for path in PAGES.values())


@pytest.mark.parametrize("page", PAGES.values(), ids=PAGES)
def test_every_source_named_exists_and_every_source_is_named(page: Path) -> None:
    body, listed = page.read_text(encoding="utf-8").split("## Sources")
    named = {int(number) for number in re.findall(r"\[(\d+)\](?!\()", body)}
    assert named == {int(number) for number in re.findall(r"^(\d+)\. ", listed, re.MULTILINE)}


@pytest.mark.parametrize("page", PAGES.values(), ids=PAGES)
def test_it_defers_and_promises_nothing(page: Path) -> None:
    head = " ".join(page.read_text(encoding="utf-8").split("## ")[0].split())
    assert "not a safety device" in head and "never tells" in head
    assert re.search(r"licensed electrician|your country's rules", head)


@pytest.mark.parametrize(
    "where", ["docs/README.md", "README.md", "config/farm.yaml", "docs/how-to/wiring-and-safety.md"]
)
def test_people_are_led_there(where: str) -> None:
    text = (ROOT / where).read_text(encoding="utf-8")
    assert all(f"safety-{name}.md" in text for name in PAGES)


def test_the_figures_of_the_pictures_are_those_of_the_pages() -> None:
    people = " ".join(PAGES["people"].read_text(encoding="utf-8").split())
    for ppm, _ in safety_pictures.CO2_PPM:
        assert f"{ppm:,}" in people
    for gas in {gas.split(",")[0].removesuffix(" gas") for *_, gas in safety_pictures.NEVER}:
        assert gas in people
    assert "20 to 45 C" in people and safety_pictures.LEGIONELLA_C == (20, 45)
    # Worked by hand: e^-3 = 0.0498, so 3 / (changes an hour) hours; 3 / 6 h = 30 min, 3 / 20 h = 9 min.
    assert [round(minutes_to(0.05, changes)) for changes in (6, 20)] == [30, 9]
    assert "30 minutes at 6, 9 minutes at 20" in people
