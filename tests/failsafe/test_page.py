"""The fail-safe page: made from `proofs.py`, and every test it names is there.

python tests/failsafe/test_page.py     writes the table anew, between its two markers
"""

import ast
import sys
from pathlib import Path

TESTS = Path(__file__).parents[1]
sys.path.insert(0, str(TESTS))

from failsafe.proofs import LINES  # noqa: E402  (run as a script it must find its own house first)

PAGE = TESTS.parent / "docs" / "reference" / "failsafe.md"
BEGIN = "<!-- lines: made by tests/failsafe/test_page.py, do not edit -->"
END = "<!-- end of lines -->"


def table() -> str:
    head = "| | what holds | proved by | what it leaves to hardware and people |"
    rows = [BEGIN, head, "|---|---|---|---|"]
    for number, line in LINES.items():
        proofs = "<br>".join(f"`{one.split('::')[1]}`" for one in line.tests)
        rows.append(f"| {number} | {line.says} | {proofs} | {line.left or '-'} |")
    return "\n".join([*rows, END])


def renewed(page: str) -> str:
    before, _, rest = page.partition(BEGIN)
    return before + table() + rest.partition(END)[2]


def test_the_list_is_whole():
    assert list(LINES) == [f"F{n}" for n in range(1, 27)]
    assert all(line.tests for line in LINES.values())


def test_every_proof_is_a_test_that_exists_and_asserts_something():
    missing = []
    for number, line in LINES.items():
        for name in line.tests:
            file, function = name.split("::")
            tree = ast.parse((TESTS / file).read_text(encoding="utf-8"))
            known = {one.name: one for one in ast.walk(tree) if isinstance(one, ast.FunctionDef)}
            if function not in known or not checks(known[function], known):
                missing.append(f"{number}: {name}")
    assert missing == []


def checks(test: ast.FunctionDef, known: dict[str, ast.FunctionDef], deep: int = 2) -> bool:
    """It asserts, expects an error, waits for what must come, or calls something of its file that does."""
    parts = list(ast.walk(test))
    called = {one.func.id for one in parts if isinstance(one, ast.Call) and isinstance(one.func, ast.Name)}
    calls = [one.func for one in parts if isinstance(one, ast.Call)]
    called |= {func.attr for func in calls if isinstance(func, ast.Attribute)}
    if any(isinstance(one, ast.Assert) for one in parts) or called & {"wait_until", "raises"}:
        return True
    return deep > 0 and any(checks(known[name], known, deep - 1) for name in called if name in known)


def test_the_page_is_current():
    page = PAGE.read_text(encoding="utf-8")
    assert page.count(BEGIN) == page.count(END) == 1
    assert renewed(page) == page, "run: python tests/failsafe/test_page.py"


if __name__ == "__main__":
    PAGE.write_text(renewed(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
