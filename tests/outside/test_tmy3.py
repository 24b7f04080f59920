"""A year of real outdoor air through a real broker into the real daemon and into its nights.

Source: the Typical Meteorological Year (TMY3) of Greensboro, North Carolina, station 723170, of the US
National Solar Radiation Data Base; pvlib's package carries the file. A typical year is put together from
months of different years, and its rows are told in standard time and run to 24:00; pvlib's reader puts them
into one year. Two of its columns are used: dry bulb and relative humidity, 8,760 hours.

The yard is declared a room with a mist valve, since an open space would only be advised: here it could be
misted, and the second test shows that it is when the same air comes live.

A logger that was out of reach for a year hands in all of it at once. Everything is long past, so it may fill
the nights' holes and may do nothing else. The nights' figures are computed a second time with pandas: each
reading holds until the next, looked at minute by minute (nights begin and end on whole minutes).
"""

import json
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import paho.mqtt.client as paho
import pandas as pd
import pvlib
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from gillhouse.audit.night import QuantityNight
from gillhouse.audit.report import night_of, window_of
from gillhouse.clock import VirtualClock
from gillhouse.config import load
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Mark, Quality
from gillhouse.service import Service
from gillhouse.store import JOURNAL
from gillhouse.store.reader import Reader
from servers import MosquittoBroker, wait_until

YEAR = 2023
ZONE = ZoneInfo("America/New_York")
LOW_PCT, HIGH_PCT = 70.0, 90.0
LOW_C, HIGH_C = 10.0, 20.0
MINUTE_MS = 60_000
TOPIC = "yard/air"
SENSORS = {"yard-rh": "relative_humidity", "yard-temp": "temp_air"}
FARM = """\
farm: {{name: Typical year, zone: America/New_York, advise_only: no}}
broker: {{host: 127.0.0.1, port: {port}, client_id: under-test}}
spaces:
  yard:
    name: Yard
    kind: room
    walk_in: yes
    volume_m3: 400
    crop: {{species: shiitake, stage: fruiting, kg: 600}}
    bands: {{humidity: {{low: {low_pct}, high: {high_pct}}}, temperature: {{low: {low_c}, high: {high_c}}}}}
sensors:
  yard-rh:
    {{space: yard, quantity: humidity, unit: "%", topic: yard/air, format: json, path: /rh, time: /at,
     every: 1 h}}
  yard-temp:
    {{space: yard, quantity: temperature, unit: degC, topic: yard/air, format: json, path: /t, time: /at,
     every: 1 h}}
relays:
  yard-mist: {{space: yard, role: mist, driver: memory, litres_per_h: 30}}
report: {{night_start: "18:20", night_end: "06:50"}}
"""


def a_year() -> pd.DataFrame:
    """The file's two columns under UTC stamps, in one year, as pvlib reads them."""
    path = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    rows, about = pvlib.iotools.read_tmy3(path, coerce_year=YEAR, map_variables=True)
    assert (about["Name"].strip('"'), about["USAF"]) == ("GREENSBORO PIEDMONT TRIAD INT", 723170)
    found: pd.DataFrame = rows[list(SENSORS.values())].tz_convert("UTC")
    return found


def unix_ms(stamp: pd.Timestamp) -> int:
    return round(stamp.timestamp() * 1000)


class Year:
    """The daemon after a first short life at the year's begin, started again when the year is over."""

    def __init__(self, folder: Path, broker: MosquittoBroker) -> None:
        bands = {"low_pct": LOW_PCT, "high_pct": HIGH_PCT, "low_c": LOW_C, "high_c": HIGH_C}
        (folder / "farm.yaml").write_text(FARM.format(port=broker.port, **bands))
        self.config, self.state = load(folder / "farm.yaml"), folder / "state"
        self.state.mkdir()
        before = Service(self.config, self.state, VirtualClock(self._wall_ms(YEAR, 1, 1)))
        before.start()
        wait_until(before.settled, 10, "the first life to be at rest")
        before.stop()
        self.clock = VirtualClock(self._wall_ms(YEAR + 1, 1, 3))
        self.service = Service(self.config, self.state, self.clock)
        self.service.start()
        wait_until(lambda: self.service.status()["links"]["broker"]["up"], 10, "the link")
        self.logger = paho.Client(CallbackAPIVersion.VERSION2, client_id="logger")
        self.logger.max_inflight_messages_set(500)
        self.logger.connect(broker.host, broker.port)
        self.logger.loop_start()

    @staticmethod
    def _wall_ms(*day: int) -> int:
        return round(datetime(*day, tzinfo=ZONE).timestamp() * 1000)

    def hand_in(self, air: pd.DataFrame) -> None:
        """Publishes rows and waits until all of them are in the store."""
        had = self.rows()
        for at, row in air.iterrows():
            message = {"t": row.temp_air, "rh": row.relative_humidity, "at": at.timestamp()}
            self.logger.publish(TOPIC, json.dumps(message), qos=1)
        wait_until(lambda: self._stored(had + len(SENSORS) * len(air)), 45, "the readings to be stored")

    def _stored(self, rows: int) -> bool:
        self.service.writer.flush()
        return self.rows() >= rows

    def rows(self) -> int:
        with self.reader() as reader:
            return sum(1 for _ in reader.all_readings(0, self.clock.now().wall_ms + 1))

    def pass_time(self, minutes: int) -> None:
        """Lets time go on, stopping wherever somebody in the daemon waits for it."""
        end = self.clock.now().mono_ms + minutes * MINUTE_MS
        while (now := self.clock.now().mono_ms) < end:
            wait_until(self.service.settled, 10, "the daemon to be at rest")
            self.clock.advance_to(min(end, max(now, self.clock.next_wake_ms() or end)))
        wait_until(self.service.settled, 10, "the daemon to be at rest")
        self.service.writer.flush()

    def reader(self) -> Reader:
        return Reader(self.state / JOURNAL)

    def close(self) -> None:
        self.logger.disconnect()
        self.logger.loop_stop()
        self.logger._reset_sockets()  # paho leaves its own wake-up pair to the collector
        self.service.stop()


@pytest.fixture
def year(tmp_path: Path, broker: MosquittoBroker) -> Iterator[Year]:
    running = Year(tmp_path, broker)
    yield running
    running.close()


def switched_on(year: Year) -> list[str]:
    with year.reader() as reader:
        issued = reader.commands(0, year.clock.now().wall_ms + 1)
        return [one.command.relay for one in issued if one.command.on]


def alarms(year: Year) -> list[str]:
    with year.reader() as reader:
        return [one.notice.alarm for one in reader.alarms(0, year.clock.now().wall_ms + 1)]


def by_the_minute(air: pd.Series, evening: date) -> pd.Series:
    """What held in each minute of a night, from 18:20 to 06:50 by the clock on the wall."""
    begin = datetime.combine(evening, time(18, 20), ZONE)
    end = datetime.combine(evening + timedelta(days=1), time(6, 50), ZONE)
    minutes = pd.date_range(begin, end, freq="1min", inclusive="left").tz_convert("UTC")
    return air.reindex(minutes, method="ffill")


def compare(found: QuantityNight, held: pd.Series, low: float, high: float) -> None:
    """Each figure of a quantity's night against pandas' own."""
    tally = found.tally
    assert tally.covered_ms == len(held) * MINUTE_MS
    assert tally.late_ms == tally.covered_ms
    assert tally.below_ms == int((held < low).sum()) * MINUTE_MS
    assert tally.above_ms == int((held > high).sum()) * MINUTE_MS
    assert tally.inside_ms == int(held.between(low, high).sum()) * MINUTE_MS
    assert (tally.least, tally.most) == (pytest.approx(held.min()), pytest.approx(held.max()))
    assert tally.mean == pytest.approx(held.mean(), abs=1e-9)
    assert tally.deficit_below == pytest.approx((low - held).clip(lower=0).sum() * MINUTE_MS)
    assert tally.deficit_above == pytest.approx((held - high).clip(lower=0).sum() * MINUTE_MS)


def test_a_year_that_comes_late_fills_the_nights_and_does_nothing_else(year: Year) -> None:
    air = a_year()
    assert len(air) == 8_760
    year.hand_in(air)
    year.pass_time(30)

    with year.reader() as reader:
        for sensor, column in SENSORS.items():
            stored = list(reader.readings(sensor, 0, year.clock.now().wall_ms + 1))
            assert [one.ts for one in stored] == [unix_ms(at) for at in air.index]
            assert [one.value for one in stored] == pytest.approx(list(air[column]))
            assert {(one.quality, one.mark) for one in stored} == {(Quality.SUSPECT, Mark.LATE)}
    assert (air.relative_humidity < LOW_PCT).sum() > 1_000, "live, a year as dry as this would have driven"
    assert switched_on(year) == []
    assert [one for one in alarms(year) if not one.startswith("water-stood:")] == [], "the air calls nobody"

    nights = [date(YEAR, month, day) for month in (1, 7) for day in range(1, 31)]
    outside_ms = 0
    with year.reader() as reader:
        for evening in nights:
            night = night_of(reader, window_of(year.config, evening), year.clock.now().wall_ms)
            (space,) = night.spaces
            humidity = space.quantities[Quantity.HUMIDITY]
            compare(humidity, by_the_minute(air.relative_humidity, evening), LOW_PCT, HIGH_PCT)
            warmth = space.quantities[Quantity.TEMPERATURE]
            compare(warmth, by_the_minute(air.temp_air, evening), LOW_C, HIGH_C)
            outside_ms += humidity.tally.below_ms + warmth.tally.above_ms
            assert space.alarms == ()
            assert [len(relay.driven) for relay in space.relays] == [0]
    assert outside_ms > 0, "some of these nights were dry or hot, else the comparison says little"


def test_the_same_air_live_does_drive(year: Year) -> None:
    """The other side of the coin: the farm is able to mist, and does so for a dry reading of now."""
    dry = a_year().nsmallest(1, "relative_humidity")
    year.hand_in(dry)
    assert switched_on(year) == []
    now = pd.Timestamp(year.clock.now().wall_ms, unit="ms", tz="UTC")
    year.hand_in(dry.set_axis([now]))
    year.pass_time(1)
    assert set(switched_on(year)) == {"yard-mist"}
