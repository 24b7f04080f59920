"""The tutorial shows what the program says: its night is played, and every answer compared.

python tests/docs/test_first_night.py     plays it and writes the answers anew into the page
"""

import re
import subprocess
import sys
import tempfile
from pathlib import Path

PAGE = Path(__file__).parents[2] / "docs" / "tutorial" / "first-night.md"
STATE = "trial-night"
SHOWN = re.compile(
    r"^    (?P<command>\S[^\n]*)\n(?P<between>(?:(?!    |```)[^\n]*\n)*)```text\n.*?^```$", re.M | re.S
)
"""A command, and the answer shown after it."""
PLAYED = "sh deploy/try.sh"
PROGRAM = ".venv/bin/gillhouse "


def said(folder: Path, *words: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "gillhouse", *words],
        cwd=folder, capture_output=True, text=True, timeout=170, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout.rstrip()


def answer(folder: Path, command: str) -> str:
    if command == PLAYED:
        played = said(folder, "demo", "--out", STATE)
        begin, end = played.index("SIMULATED:"), played.index("\n\nWhat the simulator knows")
        return played[begin:end]
    assert command.startswith(PROGRAM), command
    return said(folder, *command.removeprefix(PROGRAM).split())


def renewed(page: str, folder: Path) -> str:
    def with_answer(shown: re.Match[str]) -> str:
        command = shown["command"]
        return f"    {command}\n{shown['between']}```text\n{answer(folder, command)}\n```"

    return SHOWN.sub(with_answer, page)


def test_the_page_shows_the_night_as_it_is_told(tmp_path: Path) -> None:
    page = PAGE.read_text(encoding="utf-8")
    commands = [shown["command"] for shown in SHOWN.finditer(page)]
    assert commands[0] == PLAYED
    assert len(commands) == page.count("```text") == 5
    assert renewed(page, tmp_path) == page, "run: python tests/docs/test_first_night.py, then read the page"


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        PAGE.write_text(renewed(PAGE.read_text(encoding="utf-8"), Path(place)), encoding="utf-8")
