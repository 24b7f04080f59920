"""DEVELOPERS.md and the code say the same: a room for every module, and the limits kept or answered for.

The limits are the ones written there: over one of them, the line of the `def`, the `class` or the module's
first line says why in a comment.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from docs.pages import ROOT

PACKAGE = ROOT / "daemon" / "gillhouse"
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
MODULE_LINES, FUNCTION_LINES, METHODS, ARGUMENTS, NESTING = 400, 40, 12, 5, 3
BLOCKS = (ast.If, ast.For, ast.While, ast.With, ast.Try, ast.Match)
FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)


def test_the_limits_are_those_written_down() -> None:
    said = "module 400 lines, function 40, nesting 3,\nclass 12 methods, five arguments"
    assert said in GUIDE


@pytest.mark.parametrize("folder", [PACKAGE, PACKAGE / "core"], ids=["house", "core"])
def test_every_module_has_a_room(folder: Path) -> None:
    names = [path.stem for path in folder.glob("*.py") if path.stem not in ("__init__", "errors")]
    rooms = [path.name for path in folder.iterdir() if (path / "__init__.py").exists()]
    written = {name: (f"`{name}`", f"`{name}.py`", f"`{name}/`") for name in names + rooms}
    assert {name for name, ways in written.items() if not any(way in GUIDE for way in ways)} == set()


def test_what_is_over_a_limit_says_why() -> None:
    over = [
        f"{path.relative_to(ROOT)}:{line} {what}"
        for path in sorted(PACKAGE.rglob("*.py"))
        for line, what, why in over_limits(path.read_text(encoding="utf-8"))
        if not why
    ]
    assert over == []


def over_limits(text: str) -> Iterator[tuple[int, str, bool]]:
    """What is over a limit: line, what, and whether that line has a comment."""
    lines = text.splitlines()
    if len(lines) > MODULE_LINES:
        yield 1, f"{len(lines)} lines", "#" in lines[0]
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, FUNCTIONS):
            found = function_over(node, lines)
        elif isinstance(node, ast.ClassDef):
            methods = sum(isinstance(one, FUNCTIONS) for one in node.body)
            found = [f"{methods} methods"] if methods > METHODS else []
        else:
            continue
        yield from ((node.lineno, f"{node.name}: {what}", "#" in lines[node.lineno - 1]) for what in found)


def function_over(node: ast.FunctionDef | ast.AsyncFunctionDef, lines: list[str]) -> list[str]:
    given = [one.arg for one in (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)]
    code = code_lines(node, lines)
    counts = {
        f"{code} lines of code": code > FUNCTION_LINES,
        f"{len(given)} arguments": len([one for one in given if one not in ("self", "cls")]) > ARGUMENTS,
        f"{nesting(node)} deep": nesting(node) > NESTING,
    }
    return [what for what, over in counts.items() if over]


def code_lines(node: ast.FunctionDef | ast.AsyncFunctionDef, lines: list[str]) -> int:
    """Without its docstring, blank lines and comments."""
    first, *rest = node.body
    documented = ast.get_docstring(node) is not None
    if documented and not rest:
        return 0
    begin = rest[0].lineno if documented else first.lineno
    body = (line.strip() for line in lines[begin - 1 : node.end_lineno])
    return sum(1 for line in body if line and not line.startswith("#"))


def nesting(node: ast.AST, depth: int = 0) -> int:
    """How deep its blocks lie; `elif` lies no deeper than its `if`."""
    deepest = depth
    for child in ast.iter_child_nodes(node):
        if isinstance(child, (*FUNCTIONS, ast.ClassDef, ast.Lambda)):
            continue
        chained = isinstance(node, ast.If) and isinstance(child, ast.If) and node.orelse == [child]
        inner = isinstance(child, BLOCKS) and not chained
        deepest = max(deepest, nesting(child, depth + inner))
    return deepest


def test_the_count_finds_what_it_should() -> None:
    long = "def f():\n" + "    x = 1\n" * 41
    assert [what for _, what, _ in over_limits(long)] == ["f: 41 lines of code"]
    assert [why for *_, why in over_limits(long.replace("f():", "f():  # a list"))] == [True]
    assert [what for _, what, _ in over_limits("def g(a, b, c, d, e, f): ...\n")] == ["g: 6 arguments"]
    deep = "def h():\n if 1:\n  for x in y:\n   while 1:\n    if 2: pass\n    elif 3: pass\n"
    assert [what for _, what, _ in over_limits(deep)] == ["h: 4 deep"]
    assert list(over_limits("class C:\n" + "    def m(self): ...\n" * 12)) == []
