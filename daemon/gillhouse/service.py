"""Makes the parts of the running house, joins them, starts and ends them in order.

The same class serves `gillhouse run` (the machine's clock, the grower's state directory) and the trial run
(a virtual clock, another directory). Decisions are the core's, made on the control thread (`control`).
Making it opens the store first and refuses if it cannot; ending it lets every relay go first.
"""

import logging
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from gillhouse import __version__
from gillhouse.alerts.codes import Codes
from gillhouse.alerts.desk import Desk, ways_in
from gillhouse.alerts.outbox import Alerts
from gillhouse.clock import Clock
from gillhouse.config import Config
from gillhouse.config.restarts import needs_restart
from gillhouse.config.torn import refuse_torn
from gillhouse.control import Arrived, Chores, Control, Plan
from gillhouse.core import selfcheck
from gillhouse.core.edges import PersonSettings
from gillhouse.core.inputs import Input, Link, LinkChange, Started
from gillhouse.core.outputs import Outcome
from gillhouse.core.quantities import MEASURES
from gillhouse.core.settings import SpaceKind
from gillhouse.decider import Decider, Hands
from gillhouse.errors import ConfigError, DamagedStoreError, GillhouseError
from gillhouse.heartbeat import Heartbeat
from gillhouse.local import LocalServer
from gillhouse.mqtt import BrokerLink
from gillhouse.payloads.message import Message
from gillhouse.payloads.rate import Rates
from gillhouse.payloads.routes import Routes
from gillhouse.relays import Relays
from gillhouse.relays.ports import Ports
from gillhouse.reporter import NIGHT_REPORT, SLUG_CALL, Reporter
from gillhouse.requests import answer
from gillhouse.resume import farm_as_left
from gillhouse.store import JOURNAL
from gillhouse.store.mirror import Mirror
from gillhouse.store.opening import set_aside
from gillhouse.store.reader import Reader
from gillhouse.store.rows import ConfigRow, Entry, SeriesRow
from gillhouse.store.writer import Writer
from gillhouse.timers import Next, Timers, at_dusk
from gillhouse.watchdog import Part

log = logging.getLogger(__name__)

JOIN_S = 3.0
"""Each part gets this long to end: a stop is over within ten seconds, whatever hangs."""
UNACKED_MQTT5 = 750
"""With MQTT 5 we ask for 1,000 messages on their way and commit early at three quarters of that."""
DELIVER_S = 10.0
"""The broker may take this long to confirm an alert before it is tried again."""
WAITS_FOR_RESTART = ("broker", "store", "mirror", "alerts", "heartbeat")


MOST_WAITING = 1_000
"""Messages that may wait to be handled. Some brokers send on without an answer; then reading is held up, so
that a flood waits at the broker, not in our memory."""
HELD_UP_S = 2.0
"""... but never for so long that the broker would miss us."""


class Service:  # over 12 methods: the making of the parts, and what each one's thread calls back
    """One farm being listened to, steered and logged."""

    def __init__(self, config: Config, state_dir: Path, clock: Clock) -> None:
        """Opens the store and makes every part; nothing is listened to yet.

        Raises:
            StoreError: the state directory cannot be written, or another daemon has it.
        """
        self.config, self.state_dir, self.clock = config, state_dir, clock
        self.failed = threading.Event()
        """Set when the house cannot go on; whoever runs it should stop it."""
        self.on_failure: Callable[[], None] = lambda: None
        found = selfcheck.trouble()
        if found:
            raise GillhouseError(
                f"the check of itself failed, nothing is driven: {'; '.join(found)}; install gillhouse anew"
            )
        path = state_dir / JOURNAL
        self.writer, self._aside = self._opened(path)
        self.link = BrokerLink(config.broker, clock, self._message, self._link_state)
        self.alerts = Alerts(
            config,
            clock,
            self.writer,
            path,
            # A message for a person: wait for the broker's word that it has it.
            lambda topic, payload: self.link.deliver(topic, payload, DELIVER_S),
        )
        self.desk = Desk(config.alerts.people, Codes(state_dir), clock, self.submit, self.alerts.word_back)
        self.alerts.code_of = self.desk.code_of
        self.alerts.digest_lines.append(self.desk.told)
        self.reporter = Reporter(path, clock, self.writer, self.alerts)
        self.reporter.forecast = lambda: self.config.report.forecast_file
        self.reporter.caps = self._caps
        self.heartbeat = self._heart()
        self.mirror = Mirror(config.mirror, path, clock, self.writer) if config.mirror else None
        with Reader(path) as reader:
            farm = farm_as_left(reader, config.farm)
        self.ports = Ports(self.link.publish, clock, lambda report: self.control.inbox.put(report))
        plan = plan_of(config, path, self.ports)
        hands = Hands(farm, config.digest, __version__, plan.relays, self.writer, self.alerts)
        chores = Chores({NIGHT_REPORT: self.reporter.build, SLUG_CALL: self.reporter.call_slugs})
        self.control = Control(clock, Decider(hands, self.writer.next_seq), plan, chores, config.rates)
        self.control.on_failure = self._control_failed
        self.alerts.on_report = self.control.inbox.put
        self._local = LocalServer(
            state_dir, lambda request, who: answer(self, request, who), self.control.turns.take
        )

    def _caps(self) -> dict[str, Any]:
        """Of each open space its account of the caps."""
        spaces = self.status()["spaces"]
        return {space: told["caps"] for space, told in spaces.items() if told.get("caps")}

    def _heart(self) -> Heartbeat | None:
        """The sign of life sent outwards, where the config wants one."""
        if self.config.heartbeat is None:
            return None
        return Heartbeat(
            self.config.heartbeat, self.clock, self.status, self.writer, self.state_dir, self.link.publish
        )

    def _opened(self, path: Path) -> tuple[Writer, str]:
        """The journal's writer, and the name under which a damaged one was put aside; empty: none."""
        tokens, state = self._committed, self._store_state
        try:
            return Writer(path, self.clock, self.config.store, tokens, state), ""
        except DamagedStoreError as error:
            aside = set_aside(path, self.clock.now().wall_ms)
            log.critical("%s. Done: it lies in %s, and a new journal is begun", error, aside)
        return Writer(path, self.clock, self.config.store, tokens, state), aside.name

    def start(self) -> None:
        """Begins: alerts and control first, then the broker, then the local socket."""
        now, found = self.clock.now(), self.writer.opened
        sure = self.control.trust.at_start(now, found.last_ms)
        known = found.last_ms is not None and found.last_ms <= now.wall_ms
        away_ms = now.wall_ms - found.last_ms if known and found.last_ms is not None else None
        self.writer.start()
        self.writer.put(*rows_of(self.config, now.wall_ms))
        self.alerts.start()
        self.reporter.start()
        if self.mirror:
            self.mirror.start()
        self.control.start(Started(__version__, self.config.digest, found.clean, away_ms, sure, self._aside))
        self.link.subscribe(topics_of(self.config))
        self.link.start()
        self._local.start()
        if self.heartbeat:
            self.heartbeat.start()
        self.desk.start(ways_in(self.config.alerts, self.alerts.channels))

    def stop(self) -> None:
        """Ends: relays off, everything written, out within ten seconds."""
        if self.heartbeat:
            self.heartbeat.stop()
        self._local.stop()
        self.desk.stop(JOIN_S)
        self.control.inbox.close()
        self.control.join(JOIN_S)
        self.link.stop()
        self.reporter.stop()
        self.alerts.stop()
        if self.mirror:
            self.mirror.stop()
        self.writer.close(JOIN_S)

    def reload(self, config: Config) -> tuple[str, ...]:
        """Puts a re-read config in force, whole.

        Returns: the parts whose change waits for a restart.
        Raises:
            ConfigError: a file is only the beginning of the one in force, or changes what only a restart may
                bring; nothing was changed.
        """
        refuse_torn(config.files, self.config.files)
        restarts = needs_restart(self.config, config)
        if restarts:
            raise ConfigError(list(restarts))
        waits = tuple(
            name for name in WAITS_FOR_RESTART if getattr(config, name) != getattr(self.config, name)
        )
        self.writer.put(*rows_of(config, self.clock.now().wall_ms))
        self.control.resettle(config.farm, plan_of(config, self.state_dir / JOURNAL, self.ports))
        self.config = config
        self.link.subscribe(topics_of(config))
        self.control.inbox.put(LinkChange(Link.CONFIG, True))
        return waits

    def config_refused(self, why: str) -> None:
        """A re-read config was refused: somebody thinks another one is in force, so it is told."""
        self.control.inbox.put(LinkChange(Link.CONFIG, False, why[:500]))

    def submit(self, item: Input) -> Outcome:
        """Hands an input to the core and waits for what came of it."""
        return self.control.submit(item)

    @property
    def people(self) -> tuple[PersonSettings, ...]:
        """Who is known, for what each may do."""
        return self.config.alerts.people

    def status(self) -> dict[str, Any]:
        """What every space is doing, and why."""
        told = self.control.call(self.control.decider.hands.farm.status)
        return {**told, "clock_set": self.control.trust.sure, "answers": self.desk.counts()}

    def settled(self) -> bool:
        """Nothing is on its way inside: the trial run may move time on."""
        parts = (self.control.at_rest, self.reporter.settled, self.alerts.settled, self.writer.settled)
        return all(settled() for settled in parts) and (self.mirror is None or self.mirror.settled())

    # Called from other threads: each hands over and returns.

    def _message(self, message: Message, synced: bool) -> None:
        self.control.inbox.put(Arrived(message, synced))
        self.control.inbox.wait_for_room(MOST_WAITING, HELD_UP_S)

    def _link_state(self, up: bool, detail: str) -> None:
        if up and self.link.protocol.version == "5":
            self.writer.set_unacked_limit(UNACKED_MQTT5)
        self.control.inbox.put(LinkChange(Link.BROKER, up, detail, self._lost_from_ms() if up else None))

    def _lost_from_ms(self) -> int | None:
        """Since when what boards sent may be gone: the broker kept no place for us, though we had one."""
        if not self.link.forgotten:
            return None
        unheard_ms, now_ms = self.link.unheard_ms, self.clock.now().wall_ms
        if unheard_ms is not None:
            return now_ms - unheard_ms
        last_ms = self.writer.opened.last_ms  # None: our first start, so there was no place to keep
        return None if last_ms is None else min(last_ms, now_ms)

    def _store_state(self, ok: bool, detail: str) -> None:
        now = self.clock.now()
        if ok:
            self.alerts.store_recovered(now)
        else:
            self.alerts.store_failed(now, detail)
        self.control.inbox.put(LinkChange(Link.STORE, ok, detail))

    def _committed(self, tokens: list[object]) -> None:
        for token in tokens:
            self.link.ack(token)

    def _control_failed(self, error: BaseException) -> None:
        log.critical("the control thread died; every relay was let go", exc_info=error)
        self.failed.set()
        self.on_failure()


def turning(service: Service) -> tuple[Part, ...]:
    """The threads without which nothing is heard, decided or kept."""
    control, writer, link = service.control, service.writer, service.link
    return (
        Part("the control loop", lambda: control.last_turn_ms, control.turn),
        Part("the store's writer", lambda: writer.last_turn_ms, writer.turn, lambda: writer.at_disk),
        Part("the broker link", lambda: link.last_turn_ms, link.turn),
    )


def rows_of(config: Config, wall_ms: int) -> list[Entry]:
    """What the store keeps of a config: the files whole, and what each sensor is."""
    return [
        ConfigRow(config.digest, wall_ms, config.files),
        *(
            SeriesRow(one.id, one.quantity, MEASURES[one.quantity].unit, one.space, one.zone)
            for one in config.farm.sensors.values()
        ),
    ]


def plan_of(config: Config, journal: Path, ports: Ports) -> Plan:
    """Routes that know again what was stored last, relay drivers, and due times."""
    routes = Routes(config.routes, config.broker.max_payload)
    with Reader(journal) as reader:
        for seed in reader.seeds():
            routes.remember(seed.sensor, seed.ts, seed.board_seq, own_time=seed.own_time, value=seed.value)
    daily = {} if config.report.send_at_min is None else {NIGHT_REPORT: config.report.send_at_min}
    return Plan(
        routes,
        Relays.wired(config.relay_wires.values(), ports),
        Timers(config.farm.programmes.values(), config.farm.zone, daily, dusk_of(config)),
        Rates(config.rates.board_per_s, config.rates.board_burst),
    )


def dusk_of(config: Config) -> dict[str, Next]:
    """The call of slug nights, where it is wanted and something is known to call."""
    farm = config.farm
    is_open = any(space.kind is SpaceKind.OPEN for space in farm.spaces.values())
    if farm.latitude_deg is None or not is_open or not config.report.slug_nights:
        return {}
    return {SLUG_CALL: at_dusk(farm.latitude_deg, farm.zone)}


def topics_of(config: Config) -> list[str]:
    """Everything the daemon listens to."""
    wires = config.relay_wires.values()
    told = {topic for wire in wires for topic in (wire.state_topic, wire.available_topic) if topic}
    return sorted({route.topic for route in config.routes} | told)
