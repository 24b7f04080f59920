"""A call by text and its answer, through the real daemon: modem on a pty, board, broker, journal."""

import re
from typing import Any

from farm import Board, Daemon

from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.outputs import Transition
from gillhouse.local import ask
from gillhouse.store.reader import Reader
from pty_modem import PtyModem
from servers import wait_until

ANA, BENO, STRANGER = (
    "+447700900123",
    "+447700900124",
    "+447700900999",
)  # of those set aside for drama (Ofcom); from memory
PEOPLE = f"""
channels:
  text: {{kind: sms, device: DEVICE, look_every: 2 s, timeout: 5 s}}
people:
  ana: {{name: Ana, phone: "{ANA}", reach: [{{channel: text}}]}}
"""


def _acks(daemon: Daemon) -> list[tuple[str, str]]:
    with Reader(daemon.state / "journal.db") as reader:
        return [
            (at.notice.alarm, at.notice.who)
            for at in reader.alarms(0, 1 << 62)
            if at.notice.transition is Transition.ACK
        ]


def _status(daemon: Daemon) -> dict[str, Any]:
    return ask(daemon.state, {"ask": "status"})


def test_a_text_calls_its_answer_acknowledges_and_nothing_else_does(daemon: Daemon, board: Board) -> None:
    modem = PtyModem()
    modem.start()
    try:
        farm = daemon.config.read_text() + PEOPLE.replace("DEVICE", modem.device)
        daemon.config.write_text(farm)
        daemon.start()
        wait_until(daemon.connected, 10, "the broker")

        def bad_air() -> bool:
            board.air(88.0, co2=16_000.0)
            return bool(modem.sent)

        wait_until(bad_air, 40, "a text")
        (number, text) = modem.sent[0]
        found = re.search(r"Reply ok (\d{4})", text)
        assert number == ANA and found is not None and len(text) <= 160
        code = found[1]
        modem.receive(STRANGER, f"ok {code}")
        modem.receive(ANA, f"ok {(int(code) + 1) % 10_000:04}")
        modem.receive(ANA, f"run tent-fan {code}")
        wait_until(lambda: not modem.store, 20, "three texts to be read")
        assert _acks(daemon) == []
        assert _status(daemon)["answers"] == {
            "from nobody we know": 1, "not understood": 1, "wrong code": 1,
        }  # fmt: skip
        modem.receive(ANA, f"ok {code} opened the door")
        wait_until(lambda: _acks(daemon), 20, "the answer to be taken")
        assert [who for _, who in _acks(daemon)] == ["ana"]
        wait_until(lambda: len(modem.sent) >= 2, 20, "word back")
        assert "you have seen it" in modem.sent[-1][1]
        modem.receive(ANA, f"ok {code}")
        wait_until(lambda: not modem.store, 20, "the replayed text to be read")
        assert len(_acks(daemon)) == 1
        assert _status(daemon)["answers"]["used code"] == 1
        log = daemon.log.read_text()
        assert all(held not in log for held in (code, ANA, STRANGER))
        with Reader(daemon.state / "journal.db") as reader:
            acts = [one[2] for one in reader.inputs_between(0, None) if isinstance(one[2], OperatorAction)]
            rows = [row.text for row in reader.outbox(0, 1 << 62)]
        assert [(act.act, act.text) for act in acts] == [(Act.ACK, "by text: opened the door")]
        assert not any(code in row for row in rows), "the store holds no code"
    finally:
        daemon.kill()
        modem.stop()


def test_who_cannot_come_passes_the_call_on_at_once(daemon: Daemon, board: Board) -> None:
    """Without an answer the next person is called after a quarter of an hour; this takes seconds."""
    modem = PtyModem()
    modem.start()
    try:
        two = PEOPLE + f'  beno: {{name: Beno, role: helper, phone: "{BENO}", reach: [{{channel: text}}]}}\n'
        daemon.config.write_text(daemon.config.read_text() + two.replace("DEVICE", modem.device))
        daemon.start()
        wait_until(daemon.connected, 10, "the broker")

        def bad_air() -> bool:
            board.air(88.0, co2=16_000.0)
            return bool(modem.sent)

        wait_until(bad_air, 40, "a text")
        assert modem.sent[0][0] == ANA
        code = re.search(r"Reply ok (\d{4})", modem.sent[0][1])
        assert code is not None
        modem.receive(ANA, f"Next {code[1]}, I am away")
        wait_until(lambda: BENO in [number for number, _ in modem.sent], 20, "the next person to be called")
        (theirs,) = [text for number, text in modem.sent if number == BENO]
        own = re.search(r"Reply ok (\d{4})", theirs)
        assert own is not None and own[1] != code[1]
        modem.receive(BENO, f"quiet {own[1]}")
        wait_until(lambda: _status(daemon)["answers"].get("refused by the alarm"), 20, "the answer")
        wait_until(lambda: "protects people" in modem.sent[-1][1], 20, "word back")
        assert modem.sent[-1][0] == BENO
    finally:
        daemon.kill()
        modem.stop()
