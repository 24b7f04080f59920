"""What runs on the board at power-on: pins off, then settings, then the loop, with a watchdog over all of it.

For a Wi-Fi board with MicroPython 1.22 or newer (from memory: ESP32 and Pico W). Everything that decides is in
`station/`; here is only what needs the machine. Whatever goes wrong ends in a restart, and a restart begins
with every pin off.
"""

import json
import time

import machine
import network
import ntptime

from station import wire
from station.loop import Station
from station.sensors import TYPES, Air
from station.settings import Settings

WATCHDOG_MS = 8000
WIFI_AGAIN_MS = 20000
CLOCK_AGAIN_MS = 60000
CLOCK_EVERY_MS = 6 * 3600000
SET_AFTER_YEAR = 2024
EPOCH_2000_S = 946684800
"""Seconds from 1970 to 2000, for boards that count from there."""


class Machine:
    """The ports of `Station`."""

    def __init__(self, said):
        self.settings = Settings(said)
        self.said = said
        self.pins = {}
        for one in self.settings.relays:
            # The value is given with the making: the pin never shows the other level.
            self.pins[one.name] = machine.Pin(one.pin, machine.Pin.OUT, value=1 if one.active_low else 0)
        self._ticks = time.ticks_ms()
        self._uptime_ms = 0
        self._base_ms = None
        self._clock_at_ms = 0
        self._wifi_at_ms = 0
        self.wifi = network.WLAN(network.STA_IF)
        self.wifi.active(True)
        self._air = Air(self._sensors(said))

    def _sensors(self, said):
        found = []
        if not said.get("sensors"):
            return found
        i2c = said.get("i2c", {"id": 0, "scl": 22, "sda": 21})
        bus = machine.I2C(
            i2c.get("id", 0), scl=machine.Pin(i2c["scl"]), sda=machine.Pin(i2c["sda"]), freq=100000
        )
        for one in said["sensors"]:
            make = TYPES[one["type"]]
            found.append((one["type"], make(bus, time.sleep_ms, one.get("address", make.ADDRESS))))
        return found

    def uptime_ms(self):
        """Goes on past the point where the machine's own counter begins anew."""
        ticks = time.ticks_ms()
        self._uptime_ms += time.ticks_diff(ticks, self._ticks)
        self._ticks = ticks
        return self._uptime_ms

    def unix_ms(self):
        return None if self._base_ms is None else self._base_ms + self._uptime_ms

    def air(self):
        return self._air.read()

    def write(self, one, on):
        self.pins[one.name].value(1 if on is not one.active_low else 0)

    def open_socket(self):
        if not self.wifi.isconnected():
            raise OSError("no radio")
        return wire.open_socket(self.settings.broker.host, self.settings.broker.port)

    def keep_radio(self):
        now_ms = self.uptime_ms()
        if not self.wifi.isconnected() and now_ms >= self._wifi_at_ms:
            self._wifi_at_ms = now_ms + WIFI_AGAIN_MS
            self.wifi.disconnect()
            self.wifi.connect(self.said["wifi"]["ssid"], self.said["wifi"]["password"])

    def keep_time(self):
        """Asks for the time now and then. The question takes up to a second: never while a relay is on."""
        now_ms = self.uptime_ms()
        if now_ms < self._clock_at_ms or not self.wifi.isconnected():
            return
        self._clock_at_ms = now_ms + CLOCK_AGAIN_MS
        ntptime.host = self.said.get("time_server", self.settings.broker.host)
        ntptime.timeout = 1
        try:
            ntptime.settime()
        except (OSError, OverflowError):
            return
        if time.gmtime()[0] >= SET_AFTER_YEAR:
            since_s = EPOCH_2000_S if time.gmtime(0)[0] == 2000 else 0
            self._base_ms = (time.time() + since_s) * 1000 - self.uptime_ms()
            self._clock_at_ms = now_ms + CLOCK_EVERY_MS


def run():
    with open("board.json") as file:
        said = json.load(file)
    ports = Machine(said)
    station = Station(ports.settings, ports)
    dog = machine.WDT(timeout=WATCHDOG_MS)
    try:
        while True:
            dog.feed()
            ports.keep_radio()
            if not any(relay.on for relay in station.relays.values()):
                ports.keep_time()
            station.turn()
            time.sleep_ms(20)
    finally:
        for relay in station.relays.values():
            relay.switch_off("end")


def main():
    try:
        run()
    except ValueError as error:
        print("board.json:", error)  # stay here, off, for whoever looks
    except Exception as error:
        print("restart after", repr(error))
        time.sleep(3)
        machine.reset()


if __name__ == "__main__":
    main()
