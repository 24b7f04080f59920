"""Temperature, humidity and CO2 sensors on an I2C bus.

Addresses, commands and conversions: from memory of each maker's data sheet, tested with the examples these
sheets print. A sensor is given a bus with `writeto(address, bytes)` and `readfrom(address, count)` (as
machine.I2C has them) and a `pause_ms`. `read` gives a dict with any of `temp` (degrees C), `rh` (%), `co2`
(ppm), or None while there is nothing new; it raises OSError where the sensor does not answer and ValueError
where what it says is damaged. A CO2 sensor's self-calibration is switched off at start: it takes the lowest
value of some days for fresh air, which a fruiting space never is.
"""

import struct

from station.checksum import crc8, words

TWICE = 65535.0
"""Full scale of the SHT and SCD4x families, 2^16 - 1."""


class OnBus:
    """A sensor at its address. What measures only when asked has nothing to do at start."""

    ADDRESS = None

    def __init__(self, bus, pause_ms, address=None):
        self.bus, self.pause_ms = bus, pause_ms
        self.address = self.ADDRESS if address is None else address

    def start(self):
        pass


class Sht3x(OnBus):
    """Humidity and temperature; one shot, high repeatability, no clock stretching."""

    ADDRESS = 0x44

    def read(self):
        self.bus.writeto(self.address, b"\x24\x00")
        self.pause_ms(16)
        temp, rh = words(self.bus.readfrom(self.address, 6))
        return {"temp": -45 + 175 * temp / TWICE, "rh": 100 * rh / TWICE}


class Sht4x(OnBus):
    """Humidity and temperature, the later family: the humidity's scale reaches past both ends."""

    ADDRESS = 0x44

    def read(self):
        self.bus.writeto(self.address, b"\xfd")
        self.pause_ms(10)
        temp, rh = words(self.bus.readfrom(self.address, 6))
        return {"temp": -45 + 175 * temp / TWICE, "rh": within(-6 + 125 * rh / TWICE)}


class Si70xx(OnBus):
    """Humidity and temperature; the temperature is the one measured with the humidity."""

    ADDRESS = 0x40

    def read(self):
        self.bus.writeto(self.address, b"\xf5")
        self.pause_ms(25)
        (rh,) = words(self.bus.readfrom(self.address, 3), 0x00)
        self.bus.writeto(self.address, b"\xe0")
        answer = self.bus.readfrom(self.address, 2)
        temp = (answer[0] << 8) | answer[1]
        return {"temp": -46.85 + 175.72 * temp / 65536.0, "rh": within(-6 + 125 * rh / 65536.0)}


class Scd4x(OnBus):
    """CO2, humidity and temperature; measures by itself every five seconds."""

    ADDRESS = 0x62

    def start(self):
        self.bus.writeto(self.address, b"\x3f\x86")  # stop, if a warm start finds it measuring
        self.pause_ms(500)
        self.bus.writeto(self.address, with_word(0x2416, 0))  # self-calibration off
        self.pause_ms(1)
        self.bus.writeto(self.address, b"\x21\xb1")

    def read(self):
        self.bus.writeto(self.address, b"\xe4\xb8")
        self.pause_ms(1)
        (ready,) = words(self.bus.readfrom(self.address, 3))
        if not ready & 0x07FF:
            return None
        self.bus.writeto(self.address, b"\xec\x05")
        self.pause_ms(1)
        co2, temp, rh = words(self.bus.readfrom(self.address, 9))
        return {"co2": co2, "temp": -45 + 175 * temp / TWICE, "rh": 100 * rh / TWICE}


class Scd30(OnBus):
    """CO2, humidity and temperature; measures by itself every two seconds."""

    ADDRESS = 0x61

    def start(self):
        self.bus.writeto(self.address, with_word(0x5306, 0))  # self-calibration off
        self.pause_ms(10)
        self.bus.writeto(self.address, with_word(0x0010, 0))  # no pressure correction

    def read(self):
        self.bus.writeto(self.address, b"\x02\x02")
        self.pause_ms(4)
        (ready,) = words(self.bus.readfrom(self.address, 3))
        if ready != 1:
            return None
        self.bus.writeto(self.address, b"\x03\x00")
        self.pause_ms(4)
        got = words(self.bus.readfrom(self.address, 18))
        co2, temp, rh = [struct.unpack(">f", struct.pack(">HH", got[at], got[at + 1]))[0] for at in (0, 2, 4)]
        return {"co2": co2, "temp": temp, "rh": rh}


TYPES = {"sht3x": Sht3x, "sht4x": Sht4x, "si70xx": Si70xx, "scd4x": Scd4x, "scd30": Scd30}
"""Names in `board.json`. A new one is a class and a row."""


def with_word(command, word):
    """A command and its argument, as the SCD families take them: the argument has its checksum behind it."""
    told = struct.pack(">H", word)
    return struct.pack(">H", command) + told + bytes([crc8(told, 0xFF)])


def within(rh):
    return min(100.0, max(0.0, rh))


class Air:
    """All sensors of the board as one reading. What fails is left out and counted, by type."""

    def __init__(self, sensors):
        """
        Args:
            sensors: list of (type's name, sensor). Where two measure the same, the first in the list counts.
        """
        self.sensors = sensors
        self.failed = {}
        self._started = {}

    def read(self):
        """A dict with any of `temp`, `rh`, `co2`; empty where nothing could be read."""
        found = {}
        for name, sensor in self.sensors:
            try:
                if name not in self._started:
                    sensor.start()
                    self._started[name] = True
                got = sensor.read() or {}
            except (OSError, ValueError):
                self.failed[name] = self.failed.get(name, 0) + 1
                self._started.pop(name, None)  # it may have lost its current: set it up again
                continue
            for key in got:
                found.setdefault(key, got[key])
        return found
