"""What somebody sends cannot draw on the log: no line of its own, no colour, no text turned around.

The line's rule is OWASP ASVS 5.0, 16.4.1 (encode against log injection); the characters are Unicode's.
"""

import logging
import subprocess
import sys
import unicodedata
from pathlib import Path

from farm import Daemon
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.log_lines import LogLines, one_line
from servers import MosquittoBroker, program, wait_until

FORGED = "x\n<2>broker gone: all is lost\r\x1b[2J\x1b[31mred\u202etxet\x00\u2028end\x85"


def record(message: str, *args: object) -> logging.LogRecord:
    return logging.LogRecord("gillhouse", logging.WARNING, "x.py", 1, message, args, None)


def test_a_forged_message_stays_on_its_own_line() -> None:
    said = LogLines().format(record("rejected %s", FORGED))
    assert said == (
        r"<4>rejected x\n<2>broker gone: all is lost\r\x1b[2J\x1b[31mred\u202etxet\x00\u2028end\x85"
    )


@given(st.text())
def test_whatever_the_text_the_line_is_one_and_plain(text: str) -> None:
    said = one_line(text)
    assert len(said.splitlines()) <= 1
    assert not [char for char in said if unicodedata.category(char) in {"Cc", "Cf", "Cs", "Zl", "Zp"}]
    said.encode("utf-8")


def test_plain_text_of_any_language_stays_as_it_is() -> None:
    assert one_line("Über 5 µm, 18 °C — キノコ") == "Über 5 µm, 18 °C — キノコ"


def test_a_traceback_is_told_line_by_line() -> None:
    try:
        raise ValueError("a\nb\x1b[0m")
    except ValueError:
        made = record("broken")
        made.exc_info = sys.exc_info()
    lines = LogLines().format(made).splitlines()
    assert lines[0] == "<4>broken"
    assert all(line.startswith("<4>") for line in lines)
    assert not any("\x1b" in line for line in lines)


def test_the_daemons_own_log_holds_no_line_a_board_wrote(tmp_path: Path, broker: MosquittoBroker) -> None:
    """A board's message and a note that forge a line, through a real broker and the real command."""
    daemon = Daemon(tmp_path, broker)
    daemon.start()
    try:
        wait_until(lambda: "broker there" in daemon.log.read_text(), 20, "the link")
        for topic in ("t/air", "t/mist/set"):
            subprocess.run(
                [program("mosquitto_pub", "mosquitto-clients"), "-h", broker.host, "-p", str(broker.port),
                 "-q", "1", "-t", topic, "-m", FORGED.replace("\x00", "")],
                check=True,
            )  # fmt: skip
        daemon.run("note", "tent", FORGED.replace("\x00", ""))
        listed = daemon.run("note", "--list")
    finally:
        daemon.kill()
    assert len(listed.splitlines()) == 1
    assert "\x1b" not in listed
    text = daemon.log.read_text()
    assert "\x1b" not in text
    assert not [line for line in text.splitlines() if line.startswith("<2>broker gone")]
