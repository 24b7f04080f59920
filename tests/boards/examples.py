"""Worked examples for the board's arithmetic. Plain asserts in MicroPython's Python: the tests run this file
under CPython and, with the same file, under MicroPython.

Sources: the makers' data sheets, from memory; each example carries checksums of its own, which a wrong memory
would not satisfy.
"""

from station.backlog import Backlog
from station.checksum import crc8, words
from station.mqtt311 import length, packet, split
from station.orders import read
from station.programme import HOUR_MS, Programme
from station.relay import Relay
from station.sensors import Scd4x, Scd30, Sht3x, Sht4x, Si70xx, with_word
from station.wire import text


class Bus:
    """An I2C bus that answers each command with what it was given."""

    def __init__(self, answers):
        self.answers, self.sent, self._next = answers, [], b""

    def writeto(self, address, data):
        self.sent.append((address, bytes(data)))
        self._next = self.answers.get(bytes(data), b"")

    def readfrom(self, address, count):
        got, self._next = self._next[:count], self._next[count:]
        if len(got) < count:
            raise OSError(19)
        return got


def near(value, wanted, within):
    assert abs(value - wanted) <= within, (value, wanted)


def checksum_of_the_sht_sheets():
    """0xBEEF -> 0x92 (Sensirion, SHT3x and SHT4x data sheets, 'CRC-8 checksum calculation')."""
    assert crc8(b"\xbe\xef", 0xFF) == 0x92


def checksum_of_the_si70xx_sheets():
    """0xDC -> 0x79, 0x683A -> 0x7C, 0x4E85 -> 0x6B (HTU21D data sheet, CRC examples)."""
    assert [crc8(data, 0) for data in (b"\xdc", b"\x68\x3a", b"\x4e\x85")] == [0x79, 0x7C, 0x6B]


def a_damaged_word_is_refused():
    for damaged in (b"\xbe\xee\x92", b"\xbe\xef\x93", b"\xbe\xef"):
        try:
            words(damaged)
        except ValueError:
            continue
        raise AssertionError(damaged)


def scd4x_of_its_sheet():
    """SCD4x data sheet, read_measurement: 0x01F4, 0x6667 (0xA2), 0x5EB9 (0x3C) are 500 ppm, 25 C, 37 %."""
    answer = b"\x01\xf4\x33\x66\x67\xa2\x5e\xb9\x3c"
    bus = Bus({b"\xe4\xb8": b"\x80\x06\x04", b"\xec\x05": answer})
    got = Scd4x(bus, lambda _: None).read()
    assert got["co2"] == 500
    near(got["temp"], 25.0, 0.01)
    near(got["rh"], 37.0, 0.01)


def scd4x_switches_its_self_calibration_off():
    """The argument 0x0000 has the checksum 0x81 (SCD4x data sheet, automatic self-calibration)."""
    assert with_word(0x2416, 0) == b"\x24\x16\x00\x00\x81"
    bus = Bus({})
    Scd4x(bus, lambda _: None).start()
    assert (0x62, b"\x24\x16\x00\x00\x81") in bus.sent
    assert bus.sent[-1] == (0x62, b"\x21\xb1")


def scd30_of_its_sheet():
    """SCD30 interface description, reading of a measurement: 439 ppm, 27.2 C, 48.8 %."""
    answer = b"\x43\xdb\xcb\x8c\x2e\x8f\x41\xd9\x70\xe7\xff\xf5\x42\x43\xbf\x3a\x1b\x74"
    bus = Bus({b"\x02\x02": b"\x00\x01\xb0", b"\x03\x00": answer})
    got = Scd30(bus, lambda _: None).read()
    near(got["co2"], 439.09, 0.01)
    near(got["temp"], 27.2, 0.05)
    near(got["rh"], 48.8, 0.05)


def nothing_new_is_nothing():
    assert Scd30(Bus({b"\x02\x02": b"\x00\x00\x81"}), lambda _: None).read() is None


def sht3x_by_hand():
    """0x6666 is two fifths of full scale: -45 + 175 x 0.4 = 25 C. 0x8000 is 32768/65535 = 50.0008 %."""
    answer = b"\x66\x66" + bytes([crc8(b"\x66\x66", 0xFF)]) + b"\x80\x00" + bytes([crc8(b"\x80\x00", 0xFF)])
    got = Sht3x(Bus({b"\x24\x00": answer}), lambda _: None).read()
    near(got["temp"], 25.0, 0.001)
    near(got["rh"], 50.0008, 0.0001)


def sht4x_by_hand():
    """Humidity -6 + 125 x 0.4 = 44 %; full scale would be 119 %, and is told as 100."""
    part = b"\x66\x66" + bytes([crc8(b"\x66\x66", 0xFF)])
    full = b"\xff\xff" + bytes([crc8(b"\xff\xff", 0xFF)])
    near(Sht4x(Bus({b"\xfd": part + part}), lambda _: None).read()["rh"], 44.0, 0.001)
    assert Sht4x(Bus({b"\xfd": part + full}), lambda _: None).read()["rh"] == 100.0


def si70xx_by_hand():
    """HTU21D data sheet: 0x683A is 24.7 C; by hand for 0x4E85: -6 + 125 x 20101/65536 = 32.34 %."""
    bus = Bus({b"\xf5": b"\x4e\x85\x6b", b"\xe0": b"\x68\x3a"})
    got = Si70xx(bus, lambda _: None).read()
    near(got["temp"], 24.7, 0.05)
    near(got["rh"], 32.34, 0.005)


def remaining_lengths():
    """OASIS MQTT 3.1.1, table 2.4, and the example of 2.2.3: 321 is 65 + 2 x 128."""
    table = {0: "00", 127: "7f", 128: "8001", 16383: "ff7f", 16384: "808001", 2097151: "ffff7f", 321: "c102"}
    for count, coded in table.items():
        assert length(count) == bytes.fromhex(coded), count


def packets_come_in_pieces():
    whole = packet(0x30, text("a/b") + b"x" * 200)
    for cut in range(len(whole)):
        assert split(whole[:cut]) is None
    assert split(whole + b"\xd0\x00") == (0x30, whole[3:], len(whole))
    try:
        split(b"\x30\xff\xff\xff\xff\x7f")
    except ValueError:
        return
    raise AssertionError("no packet has five length bytes")


def orders_and_refusals():
    now_ms = 1795608000000
    on = b'{"on": true, "seconds": 10, "until": 1795608010, "id": 5}'
    assert read(on, False, now_ms, None).ms == 10000
    assert read(on, False, now_ms, 4).number == 5
    assert read(on, True, now_ms, None).refused == "retained"
    assert read(on, False, now_ms, 5).refused == "repeated"
    assert read(on, False, now_ms + 10000, None).refused == "expired"
    assert read(on, False, now_ms + 4000, None).ms == 6000  # four seconds late: six are left
    assert read(on, False, None, None).ms == 10000  # no clock: the seconds alone
    assert read(b'{"on": true}', False, now_ms, None).refused == "no end"
    assert read(b'{"on": false}', False, now_ms, 99).ms == 0
    assert read(b'{"on": false, "id": "3"}', False, now_ms, 99).refused is None  # an off is always obeyed
    for junk in (
        b"",
        b"\xff\xfe",
        b"[]",
        b"{",
        b"null",
        b'{"on": 1}',
        b'{"on": "yes"}',
        b'{"on": true, "seconds": []}',
        b'{"on": true, "seconds": 5, "id": "x"}',
        b'{"on": true, "seconds": 5, "until": []}',
    ):
        assert read(junk, False, now_ms, None).refused == "unreadable", junk
    for endless in (b"-1", b"0", b"1e9"):
        assert read(b'{"on": true, "seconds": ' + endless + b"}", False, now_ms, None).refused == "no end"


def a_relay_lets_go():
    clicks = []
    relay = Relay("fan", clicks.append, 60000)
    assert clicks == [False] and not relay.on
    relay.switch_on(1000, 5000, "told")
    assert not relay.tick(5999) and relay.tick(6000)
    assert clicks == [False, True, False] and relay.why == "ended"
    relay.switch_on(10000, 999999, "told")  # longer than it may
    assert relay.left_ms(10000) == 60000


def a_programme_by_hand():
    """6 minutes an hour in runs of 60 s: one begins every ten minutes."""
    programme = Programme(6, 60)
    programme.begin(0)
    begun = [at for at in range(0, 2 * HOUR_MS, 1000) if programme.due(at)]
    assert begun == list(range(0, 2 * HOUR_MS, 600000))
    programme.end(2 * HOUR_MS)
    assert programme.due(3 * HOUR_MS) == 0


def a_ring_keeps_the_newest():
    ring = Backlog(3)
    for number in range(1, 6):
        ring.put(number, number * 30500, {"rh": 80.0 + number})
    assert len(ring) == 3 and ring.dropped == 2
    assert ring.peek(0) == (3, 91500, {"rh": 83.0})
    ring.done(4)
    assert len(ring) == 1 and ring.peek(0)[0] == 5


EXAMPLES = [
    checksum_of_the_sht_sheets, checksum_of_the_si70xx_sheets, a_damaged_word_is_refused, scd4x_of_its_sheet,
    scd4x_switches_its_self_calibration_off, scd30_of_its_sheet, nothing_new_is_nothing, sht3x_by_hand,
    sht4x_by_hand, si70xx_by_hand, remaining_lengths, packets_come_in_pieces, orders_and_refusals,
    a_relay_lets_go, a_programme_by_hand, a_ring_keeps_the_newest,
]  # fmt: skip

if __name__ == "__main__":
    for example in EXAMPLES:
        example()
    print(len(EXAMPLES), "examples hold")
