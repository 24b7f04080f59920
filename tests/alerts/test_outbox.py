"""Who gets which message, in which order, after which waits: also when a channel refuses, the store fails or
the daemon starts again.

Everything runs with the real store. Time is virtual and moves only when the outbox is at rest.
"""

import json
import sqlite3
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast
from zoneinfo import ZoneInfo

import pytest

from gillhouse.alerts.channel import Refused
from gillhouse.alerts.memory import MemoryChannel
from gillhouse.alerts.outbox import Alerts, Settings
from gillhouse.alerts.sender import GIVE_UP_MS
from gillhouse.alerts.wording import NOT_STORED
from gillhouse.clock import SystemClock, VirtualClock
from gillhouse.core.edges import (
    AlertSettings,
    AnswerBox,
    ChannelSettings,
    PersonSettings,
    ReachSettings,
    StoreSettings,
)
from gillhouse.core.inputs import ChannelReport
from gillhouse.core.outputs import AlarmNotice, Call, CallKind, Transition
from gillhouse.errors import ChannelError
from gillhouse.store.reader import Reader
from gillhouse.store.records import OutboxAt
from gillhouse.store.writer import Writer
from servers import HttpReceiver, SmtpServer, wait_until

START = 1_791_951_240_000
"""2026-10-14 06:14 in Rome."""


def person(name: str, *channels: str, **over: Any) -> PersonSettings:
    reach = tuple(ReachSettings(channel, f"{name}@farm.invalid") for channel in channels)
    return PersonSettings(name, name, reach, **over)


def notice(
    kind: str = "door-open", space: str | None = "tent", announce: bool = True, number: int = 1
) -> AlarmNotice:
    priority = {"door-open": 3, "tank-empty": 2, "relay-stuck": 1}[kind]
    return AlarmNotice(
        f"{kind}:{space or 'farm'}", kind, number, Transition.ACT, priority, "B", announce, space, {}
    )


@dataclass
class House:
    """An outbox over a real store, in virtual time."""

    folder: Path
    settings: AlertSettings
    clock: VirtualClock = field(default_factory=lambda: VirtualClock(START))
    calls: int = 0

    def open(self) -> "House":
        self.path = self.folder / "journal.db"
        self.writer = Writer(
            self.path, self.clock, StoreSettings(), lambda tokens: None, lambda works, why: None
        )
        self.writer.start()
        spaces = {name: SimpleNamespace(id=name, name=name.title()) for name in ("tent", "barn")}
        config = SimpleNamespace(
            alerts=self.settings, farm=SimpleNamespace(zone=ZoneInfo("Europe/Rome"), spaces=spaces)
        )
        self.alerts = Alerts(
            cast(Settings, config), self.clock, self.writer, self.path, lambda topic, payload: False
        )
        return self

    def send(
        self, one: AlarmNotice, person: str = "ana", kind: CallKind = CallKind.ALARM, **over: Any
    ) -> None:
        """What the core says when it calls somebody."""
        self.calls += 1
        call = Call(f"{self.calls}.0", kind, person, one.priority, notices=(one,))
        self.alerts.call(self.clock.now(), replace(call, **over))

    def close(self) -> None:
        self.alerts.stop()
        assert self.writer.close()

    def channel(self, name: str = "shelf") -> MemoryChannel:
        found = self.alerts.channels[name]
        assert isinstance(found, MemoryChannel)
        return found

    def rest(self) -> None:
        wait_until(lambda: self.alerts.settled() and self.writer.settled(), what="outbox and store at rest")

    def run_for(self, ms: int) -> None:
        """Moves time on, stopping wherever anybody waits for."""
        end = self.clock.now().mono_ms + ms
        self.rest()
        while (wake := self.clock.next_wake_ms()) is not None and wake <= end:
            self.clock.advance_to(wake)
            self.rest()
        self.clock.advance_to(end)
        self.rest()

    def rows(self) -> list[OutboxAt]:
        self.writer.flush()
        with Reader(self.path) as reader:
            return list(reader.outbox(0, 10**15))


SHELF = ChannelSettings("shelf", "memory")
SPARE = ChannelSettings("spare", "memory")


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    people = (
        person("ana", "shelf"),
        person("beno", "spare", priorities=(1, 2), spaces=("barn",), report=False),
    )
    made = House(tmp_path, AlertSettings(people, (SHELF, SPARE))).open()
    made.alerts.start()
    yield made
    made.close()


def texts(channel: MemoryChannel) -> list[str]:
    return [kept.message.text for kept in channel.history]


def test_an_announced_alarm_goes_out_and_into_the_store(house: House) -> None:
    house.send(notice())
    house.rest()
    (kept,) = house.channel().history
    assert kept.message.text.startswith("TENT DOOR OPEN now. ")
    assert (kept.message.person, kept.message.to) == ("ana", "ana@farm.invalid")
    (row,) = house.rows()
    assert (row.channel, row.alarm, row.occurrence) == ("shelf", "door-open:tent", 1)
    assert (row.text, row.attempts, row.sent, row.last_error) == (kept.message.text, 1, START, None)


def test_a_report_goes_to_those_who_get_it_with_its_files(house: House) -> None:
    files = {"night.html": "<p>gr\u00fcn</p>"}
    house.alerts.message(house.clock.now(), "Wed 14 Oct", "TENT GOOD.\nBARN FAIR.", files)
    house.rest()
    (kept,) = house.channel("shelf").history
    assert (kept.message.subject, kept.message.text) == ("Wed 14 Oct", "TENT GOOD.\nBARN FAIR.")
    assert [(one.name, one.media_type, one.data.decode()) for one in kept.message.attachments] == [
        ("night.html", "text/html", "<p>gr\u00fcn</p>")
    ]
    assert house.channel("spare").history == []


def test_retries_come_after_5_15_60_and_then_every_300_s(house: House) -> None:
    channel = house.channel()
    channel.refusal = ChannelError("busy")
    house.send(notice())
    house.run_for(1_000_000)
    assert [at.mono_ms for at in channel.attempts] == [0, 5_000, 20_000, 80_000, 380_000, 680_000, 980_000]
    (row,) = house.rows()
    assert (row.attempts, row.sent, row.last_error) == (7, None, "busy")
    assert row.next_try == START + 1_280_000
    channel.refusal = None
    house.run_for(400_000)
    assert len(channel.history) == 1
    (row,) = house.rows()
    assert (row.attempts, row.sent, row.last_error) == (8, START + 1_280_000, None)


def test_order_is_kept_behind_one_that_waits_and_nothing_is_sent_twice(house: House) -> None:
    channel = house.channel()
    channel.refusal = ChannelError("busy")
    for number in (1, 2, 3):
        house.send(notice(number=number))
    house.run_for(30_000)
    assert len(channel.attempts) == 3, "only the first is tried, at 0, 5 and 20 s"
    house.send(notice(number=4))
    house.rest()
    assert len(channel.attempts) == 3, "a new one does not press a channel that waits"
    channel.refusal = None
    house.run_for(3_600_000)
    assert [kept.message.occurrence for kept in channel.history] == [1, 2, 3, 4]
    assert {kept.now.mono_ms for kept in channel.history} == {80_000}
    assert len({kept.message.id for kept in channel.history}) == 4


def test_one_that_is_refused_for_good_steps_aside(house: House) -> None:
    channel = house.channel()
    channel.refusal = Refused("550 no such mailbox")
    house.send(notice(number=1))
    house.rest()
    channel.refusal = None
    house.send(notice(number=2))
    house.rest()
    assert [kept.message.occurrence for kept in channel.history] == [2]
    house.run_for(5_000)
    assert [kept.message.occurrence for kept in channel.history] == [2, 1]


def test_a_channel_that_fails_holds_no_other_up(house: House) -> None:
    house.channel("shelf").refusal = ChannelError("busy")
    for name in ("ana", "beno"):
        house.send(notice("tank-empty", "barn"), name)
    house.rest()
    assert len(house.channel("spare").history) == 1


def test_a_fault_of_ours_in_a_channel_does_not_silence_it(
    house: House, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    channel, whole = house.channel(), house.channel().send
    monkeypatch.setattr(channel, "send", lambda message: 1 / 0)
    house.send(notice(number=1))
    house.rest()
    monkeypatch.setattr(channel, "send", whole)
    house.run_for(5_000)
    assert [kept.message.occurrence for kept in channel.history] == [1]
    assert "a fault of ours" in caplog.text


def test_a_late_alarm_says_from_when_it_is(house: House) -> None:
    channel = house.channel()
    channel.refusal = ChannelError("busy")
    house.send(notice())
    house.alerts.message(house.clock.now(), "night", "a report has its own date")
    house.run_for(700_000)
    channel.refusal = None
    house.run_for(300_000)
    alarm, report = texts(channel)
    assert alarm.endswith("(from 06:14)")
    assert len(alarm) <= 160
    assert report == "a report has its own date"


def test_after_a_day_it_is_given_up_and_the_store_says_so(house: House) -> None:
    channel = house.channel()
    channel.refusal = ChannelError("busy")
    house.send(notice())
    house.run_for(GIVE_UP_MS + 600_000)
    tried = len(channel.attempts)
    house.run_for(3_600_000)
    assert len(channel.attempts) == tried
    (row,) = house.rows()
    assert (row.sent, row.last_error) == (None, "given up: busy")


def test_a_step_of_the_wall_clock_gives_nothing_up(house: House) -> None:
    """A board that wakes in 1970 and is set to the right year has not waited for 56 years."""
    channel = house.channel()
    channel.refusal = ChannelError("busy")
    house.send(notice())
    house.rest()
    house.clock.step_wall(56 * 365 * 86_400_000)
    house.run_for(30_000)
    channel.refusal = None
    house.run_for(60_000)
    assert len(channel.history) == 1


def test_while_the_store_fails_messages_go_out_marked_and_are_written_later(house: House) -> None:
    """The store is held by another connection, as by a stalled disk: nothing can be committed meanwhile."""
    other = sqlite3.connect(house.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    house.alerts.store_failed(house.clock.now(), "disk full")
    house.send(notice())
    wait_until(lambda: house.channel().history, what="the message to go out at once")
    assert texts(house.channel())[0].endswith(NOT_STORED)
    assert len(texts(house.channel())[0]) <= 160
    assert other.execute("SELECT count(*) FROM outbox").fetchone() == (0,)
    other.execute("ROLLBACK")
    other.close()
    house.alerts.store_recovered(house.clock.now())
    house.send(notice(number=2))
    house.run_for(60_000)
    assert NOT_STORED not in texts(house.channel())[1]
    assert [(row.text, row.sent is not None) for row in house.rows()] == [
        (text, True) for text in texts(house.channel())
    ]


def reopened(house: House, settings: AlertSettings | None = None, clock: VirtualClock | None = None) -> House:
    """The same store, taken up by the next run."""
    house.close()
    return House(house.folder, settings or house.settings, clock or house.clock).open()


def test_a_restart_takes_up_what_was_not_sent_and_nothing_else(tmp_path: Path) -> None:
    first = House(tmp_path, AlertSettings((person("ana", "shelf"),), (SHELF,))).open()
    first.alerts.start()
    first.send(notice("relay-stuck", number=1))
    first.rest()
    first.channel().refusal = ChannelError("busy")
    first.send(notice("relay-stuck", number=2))
    first.alerts.message(first.clock.now(), "night", "text", {"night.html": "<p>1</p>"})
    first.rest()
    unsent = [one.id for one in first.rows() if one.sent is None]
    second = reopened(first)
    second.alerts.start()
    second.rest()
    alarm, report = (kept.message for kept in second.channel().history)
    assert (alarm.occurrence, alarm.priority, alarm.to) == (2, 1, "ana@farm.invalid")
    assert [one.data for one in report.attachments] == [b"<p>1</p>"]
    second.send(notice(number=3))
    second.rest()
    assert [row.id for row in second.rows()] == [1, 2, 3, 4], "numbers go on"
    assert unsent == [2, 3]
    assert all(row.sent is not None for row in second.rows())
    third = reopened(second)
    third.alerts.start()
    third.rest()
    assert third.channel().history == []
    third.close()


def test_a_restart_leaves_alone_what_is_old_or_has_lost_its_way(tmp_path: Path) -> None:
    people = (person("ana", "shelf"), person("beno", "spare"))
    first = House(tmp_path, AlertSettings(people, (SHELF, SPARE))).open()
    first.alerts.start()
    for name in ("shelf", "spare"):
        first.channel(name).refusal = ChannelError("busy")
    for name in ("ana", "beno"):
        first.send(notice(number=1), name)
    first.rest()
    second = reopened(first, settings=AlertSettings((person("ana", "shelf"),), (SHELF,)))
    second.alerts.start()
    second.rest()
    assert [kept.message.person for kept in second.channel().history] == ["ana"]
    lost = [row for row in second.rows() if row.channel == "spare"]
    assert [(row.sent, row.last_error) for row in lost] == [
        (None, "given up: beno is no longer reached by spare")
    ]
    third = reopened(second, clock=VirtualClock(START + GIVE_UP_MS))
    third.alerts.start()
    third.rest()
    assert third.channel().history == []
    third.close()


def test_stop_does_not_wait_for_a_far_end_that_hangs(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    entered, release = threading.Event(), threading.Event()

    def hang(message: object) -> str:
        entered.set()
        release.wait(30)
        return "late"

    monkeypatch.setattr(house.channel(), "send", hang)
    monkeypatch.setattr("gillhouse.alerts.outbox.STOP_WITHIN_S", 0.05)
    house.send(notice())
    assert entered.wait(5)
    began = SystemClock()
    house.alerts.stop()
    assert began.now().mono_ms < 3_000
    release.set()


def test_real_mail_and_webhook_through_a_refusal(
    tmp_path: Path, smtp_server: SmtpServer, http_receiver: HttpReceiver
) -> None:
    channels = (
        ChannelSettings(
            "post",
            "mail",
            host=smtp_server.host,
            port=smtp_server.port,
            security="off",
            sender="box@farm.invalid",
        ),
        ChannelSettings("hook", "webhook", url=http_receiver.url),
    )
    people = (person("ana", "post"), person("beno", "hook"))
    house = House(tmp_path, AlertSettings(people, channels)).open()
    house.alerts.start()
    smtp_server.refuse, http_receiver.status = "451 try later", 503
    for number in (1, 2):
        for name in ("ana", "beno"):
            house.send(notice(number=number), name)
    house.rest()
    smtp_server.refuse, http_receiver.status = None, 204
    house.run_for(5_000)
    ids = [one.mail["Message-ID"] for one in smtp_server.messages]
    assert ids == [f"<{START}-1@gillhouse.invalid>", f"<{START}-3@gillhouse.invalid>"]
    bodies = [cast(dict[str, Any], json.loads(one.body)) for one in http_receiver.requests]
    assert [one["occurrence"] for one in bodies] == [1, 1, 2], "the refused one, then both in order"
    assert [(row.channel, row.attempts, row.sent is not None) for row in house.rows()] == [
        ("post", 2, True),
        ("hook", 2, True),
        ("post", 1, True),
        ("hook", 1, True),
    ]
    house.close()


# --- several ways, and what only one of them may say ---------------------------------------------------

BOTH = AlertSettings((person("ana", "shelf", "spare"),), (SHELF, SPARE))


@pytest.fixture
def two_ways(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path, BOTH).open()
    made.alerts.start()
    yield made
    made.close()


def test_the_second_way_helps_out_after_the_second_failure_and_nothing_is_said_twice(two_ways: House) -> None:
    told: list[ChannelReport] = []
    two_ways.alerts.on_report = told.append
    first, second = two_ways.channel("shelf"), two_ways.channel("spare")
    first.refusal = ChannelError("busy")
    two_ways.send(notice())
    two_ways.run_for(4_999)
    assert (len(first.attempts), second.history) == (1, [])
    two_ways.run_for(1)
    assert (len(first.attempts), len(second.history)) == (2, 1)
    assert [(one.channel, one.ok, one.call) for one in told] == [
        ("shelf", False, "1.0"),
        ("spare", True, "1.0"),
    ]
    first.refusal = None
    two_ways.run_for(3_600_000)
    assert first.history == [], "it was said already"
    assert [(row.channel, row.sent is not None, row.last_error) for row in two_ways.rows()] == [
        ("shelf", True, "went by spare"),
        ("spare", True, None),
    ]


def test_after_a_restart_the_ways_of_one_call_still_know_of_each_other(tmp_path: Path) -> None:
    first = House(tmp_path, BOTH).open()
    first.alerts.start()
    for name in ("shelf", "spare"):
        first.channel(name).refusal = ChannelError("busy")
    first.send(notice())
    first.run_for(10_000)
    assert [row.channel for row in first.rows()] == ["shelf", "spare"]
    second = reopened(first)
    second.alerts.start()
    second.run_for(60_000)
    assert len(second.channel("shelf").history) + len(second.channel("spare").history) == 1
    assert all(row.sent is not None for row in second.rows())
    second.close()


def test_a_call_about_the_same_that_has_not_got_out_is_not_queued_behind_itself(two_ways: House) -> None:
    for name in ("shelf", "spare"):
        two_ways.channel(name).refusal = ChannelError("busy")
    for _ in range(5):
        two_ways.send(notice("relay-stuck"))
        two_ways.run_for(600_000)
    two_ways.send(notice("relay-stuck", number=2))
    two_ways.channel("shelf").refusal = None
    two_ways.run_for(600_000)
    assert [one.message.occurrence for one in two_ways.channel("shelf").history] == [1, 2]
    two_ways.send(notice("relay-stuck", number=2))
    two_ways.rest()
    assert len(two_ways.channel("shelf").history) == 3, "the last one got out, so it is said again"


def test_at_night_the_way_that_rings_comes_first_and_a_digest_takes_the_other(tmp_path: Path) -> None:
    loud = replace(SPARE, wakes=True)
    house = House(tmp_path, AlertSettings((person("ana", "shelf", "spare"),), (SHELF, loud))).open()
    house.alerts.start()
    house.send(notice("tank-empty"))
    house.send(notice("tank-empty", number=2), night=True)
    house.send(notice("relay-stuck"))
    house.send(notice(), kind=CallKind.DIGEST, notices=(), facts={"readings": 1})
    dead = AlarmNotice("channel-dead:shelf", "channel-dead", 1, Transition.ACT, 2, "B", True, None, {})
    house.send(dead)
    house.rest()
    quiet, rings = (
        [one.message.subject for one in house.channel(name).history] for name in ("shelf", "spare")
    )
    assert quiet == ["TENT TANK EMPTY", "All quiet"]
    assert rings == ["TENT TANK EMPTY", "TENT RELAY STUCK ON", "FARM ALERTS NOT GETTING OUT"]
    house.close()


def test_the_weekly_list_goes_over_every_way(two_ways: House) -> None:
    lines = ({"reason": "calibration-due", "subject": "tent-rh", "sensor": "tent-rh", "days": 3},)
    two_ways.send(notice(), kind=CallKind.WEEKLY, notices=(), lines=lines)
    two_ways.rest()
    for name in ("shelf", "spare"):
        (text,) = texts(two_ways.channel(name))
        assert text.startswith(f"Weekly test of {name}: it works if you read this. Due:\n- tent-rh: ")


def test_a_code_is_drawn_when_it_is_sent_and_never_stored(tmp_path: Path) -> None:
    answered = replace(SHELF, answers=AnswerBox("imap.invalid", 993, "box", "secret"))
    house = House(tmp_path, AlertSettings((person("ana", "shelf"),), (answered,))).open()
    house.alerts.code_of = lambda message, now: f"47{message.occurrence:02}"
    house.alerts.start()
    house.send(notice())
    house.rest()
    (text,) = texts(house.channel())
    assert text.endswith("Reply ok 4701, quiet 4701 or next 4701.")
    assert "4701" not in house.rows()[0].text
    house.alerts.code_of = None
    house.send(notice(number=2))
    house.rest()
    assert "Reply" not in texts(house.channel())[1], "no code could be drawn: the call goes out all the same"
    house.close()


def test_a_mail_server_that_refuses_for_a_day_delays_every_alert_and_loses_or_doubles_none(
    tmp_path: Path, smtp_server: SmtpServer
) -> None:
    """The drill: a real SMTP server answers 451 for 24 h of virtual time, with an alert every half hour."""
    channels = (
        ChannelSettings("post", "mail", host=smtp_server.host, port=smtp_server.port, security="off",
                        sender="box@farm.invalid"),
    )  # fmt: skip
    house = House(tmp_path, AlertSettings((person("ana", "post"),), channels)).open()
    house.alerts.start()
    smtp_server.refuse = "451 try later"
    for number in range(48):
        house.send(notice("tank-empty", number=number))
        house.run_for(1_800_000)
    house = reopened(house)
    house.alerts.start()
    house.rest()
    assert smtp_server.messages == []
    assert smtp_server.attempts > 200, "every five minutes, for a day"
    smtp_server.refuse = None
    house.run_for(600_000)
    ids = [one.mail["Message-ID"] for one in smtp_server.messages]
    assert ids == [row.id and f"<{row.ts}-{row.id}@gillhouse.invalid>" for row in house.rows()]
    assert len(ids) == len(set(ids)) == 48
    assert [row.occurrence for row in house.rows()] == list(range(48))
    house.run_for(3_600_000)
    assert len(smtp_server.messages) == 48
    house.close()
