"""The driver: time moves only when everything is heard, and the same seed gives the same night.

Real broker (Debian's mosquitto), real MQTT on both sides; only the daemon is a small stand-in here.
"""

from collections.abc import Callable
from pathlib import Path

import pytest

from gillhouse.clock import SystemClock, VirtualClock
from gillhouse.core.edges import RelayWire, SensorRoute
from gillhouse.core.quantities import Quantity
from gillhouse.sim import quiet
from gillhouse.sim.boards import relay_boards, sensor_boards
from gillhouse.sim.link import BoardLink, TrialError
from gillhouse.sim.lockstep import Cast, Lockstep
from gillhouse.sim.plant import House
from gillhouse.sim.story import Moment, Scene
from gillhouse.sim.weather import Weather
from servers import MosquittoBroker
from sim.farms import trial_config
from sim.stand_in import PULSE_MS, StandIn

HOUR_MS = 3_600_000
ROUTE = SensorRoute("room-rh", "trial/air", "json", Quantity.HUMIDITY, "%", 30_000, path="/rh")
WIRE = RelayWire("room-heater", "mqtt", "trial/set", "ON {seconds}", "OFF", state_topic="trial/state")


class Met:
    """A stand-in daemon and the driver, joined over one broker."""

    def __init__(self, broker: MosquittoBroker, folder: Path, moments: tuple[Moment, ...] = ()) -> None:
        farm = trial_config(folder).farm
        self.house = House(farm, Weather(1, 20, 2), 1)
        self.clock = VirtualClock(1_760_464_800_000)
        self.daemon = StandIn(self.clock, broker.host, broker.port, ["trial/air", "trial/state"], "trial/set")
        self.link = BoardLink(broker.host, broker.port, "boards")
        self.link.uncounted = ("trial/gillhouse/alive",)
        self.link.subscribe(["trial/gillhouse/#", "trial/set"])
        sensors = sensor_boards([ROUTE], self.house.sensors)
        relays = relay_boards({"room-heater": WIRE}, {"room-heater": True}, "trial/")
        cast = Cast(self.house, sensors, relays, self.link, moments, "trial/gillhouse/alive")
        scene = Scene(self.house, sensors, lambda _: None, list, lambda _: {}, lambda: 0)
        self.lockstep = Lockstep(self.clock, SystemClock(), self.daemon, cast, scene)

    def __enter__(self) -> "Met":
        self.daemon.start()
        self.lockstep.begin()
        return self

    def __exit__(self, *_: object) -> None:
        self.daemon.stop()
        self.link.close()


def test_every_report_is_handled_at_its_own_moment(broker: MosquittoBroker, tmp_path: Path) -> None:
    with Met(broker, tmp_path) as met:
        met.lockstep.run(HOUR_MS // 2)
        reports = [row for row in met.daemon.history if row[1] == "trial/air"]
        tally = met.lockstep.tally
    assert len(reports) == tally.reports == tally.by_topic["trial/air"]
    assert 55 < tally.reports <= 60  # each half minute, about one in a hundred lost
    assert all(at_ms % 30_000 == 1_000 for at_ms, _, _ in reports)
    assert met.clock.now().mono_ms == HOUR_MS // 2


def test_commands_reach_the_boards_and_echoes_come_back_before_time_moves(
    broker: MosquittoBroker, tmp_path: Path
) -> None:
    with Met(broker, tmp_path) as met:
        met.lockstep.run(HOUR_MS // 2)
    history = met.daemon.history
    ons = [place for place, row in enumerate(history) if row[1:] == ("trial/state", "ON")]
    assert len(ons) > 10
    for place in ons:
        before, here = history[place - 1], history[place]
        assert before[1] == "trial/air"
        assert here[0] == before[0]  # the echo of a command stands at the very moment of the report
        off = next(row for row in history[place:] if row[1:] == ("trial/state", "OFF"))
        assert off[0] - here[0] == PULSE_MS  # by the daemon's deadline; the board's own would be 20 s
    assert met.house.places["room"].score is not None
    assert met.house.places["room"].score.switchings == {"room-heater": 2 * len(ons)}


def test_the_same_seed_gives_the_same_history(broker: MosquittoBroker, tmp_path: Path) -> None:
    histories = []
    for turn in ("a", "b"):
        (tmp_path / turn).mkdir()
        with Met(broker, tmp_path / turn) as met:
            met.lockstep.run(HOUR_MS // 4)
        histories.append(met.daemon.history)
    assert histories[0] == histories[1]


def test_a_board_drops_out_by_itself_when_the_daemon_says_no_more(
    broker: MosquittoBroker, tmp_path: Path
) -> None:
    with Met(broker, tmp_path) as met:
        met.daemon.forgets = True
        met.lockstep.run(HOUR_MS // 4)
    states = [(at_ms, word) for at_ms, topic, word in met.daemon.history if topic == "trial/state"]
    assert states[0] == (0, "OFF")  # what it says of itself at its birth
    ons, offs = states[1::2], states[2::2]
    assert len(offs) > 5
    for (on_ms, on_word), (off_ms, off_word) in zip(ons, offs, strict=False):
        assert (on_word, off_word) == ("ON", "OFF")
        assert off_ms - on_ms == 20_000  # the seconds in the payload, to the millisecond


def test_the_last_will_makes_the_boards_let_go(broker: MosquittoBroker, tmp_path: Path) -> None:
    with Met(broker, tmp_path) as met:
        met.lockstep._obey("trial/set", b"ON 900")
        met.lockstep._obey("trial/gillhouse/alive", b"offline")
        assert not met.house.on["room-heater"]
        assert not met.lockstep._cast.relays["trial/set"].on


def test_a_daemon_that_hears_nothing_is_named_and_not_waited_for_for_ever(
    broker: MosquittoBroker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(quiet, "PATIENCE_MS", 300)
    with Met(broker, tmp_path) as met:
        met.daemon.deaf = True
        with pytest.raises(TrialError, match="the daemon has not taken in 1 board messages"):
            met.lockstep.run(HOUR_MS)


def test_a_dead_daemon_ends_the_trial_at_once(broker: MosquittoBroker, tmp_path: Path) -> None:
    with Met(broker, tmp_path) as met:
        met.daemon.deaf = True
        met.lockstep.quiet.broken = lambda: "its control thread died"
        with pytest.raises(TrialError, match="its control thread died"):
            met.lockstep.run(HOUR_MS)


def test_the_story_happens_at_its_moments(broker: MosquittoBroker, tmp_path: Path) -> None:
    seen: list[int] = []

    def look() -> Callable[[Scene], None]:
        return lambda scene: seen.append(scene.house.at_ms)

    at = (70_500, 70_500, 95_000)
    moments = tuple(Moment(at_ms, "looks", look()) for at_ms in at)
    with Met(broker, tmp_path, moments) as met:
        met.lockstep.run(120_000)
    assert seen == [70_500, 70_500, 95_000]


def test_no_broker_is_said_plainly() -> None:
    with pytest.raises(TrialError, match=r"no broker on 127\.0\.0\.1:1"):
        BoardLink("127.0.0.1", 1, "boards")
