"""The board as a whole: read the air, keep readings, obey, let go, and go on alone when nobody speaks.

Nobody speaks when, for `silent_min`, the broker was gone or the daemon's own sign of life (kept by the broker
on `daemon_topic`) was not `online`, and no order came either. Then the relays that have a programme run it,
capped, and the board says so as soon as somebody listens. It ends the moment the daemon is back.
"""

import json

from station import orders
from station.backlog import Backlog
from station.mqtt311 import Link
from station.programme import Programme
from station.relay import Relay

IN_FLIGHT = 8
"""Kept readings on their way at a time."""
STATUS_MS = 300000
STAGGER_MS = 5000
"""Between the programmes' first runs."""
TOLD, WAITING, ALONE = "told", "waiting", "programme"


class Station:
    """Call `turn` again and again. `ports` has:

    uptime_ms() since power-on, never goes back; unix_ms() or None while the clock is not set; air() a dict
    as `sensors.Air.read` gives; write(relay, on) switches a pin; open_socket().
    """

    def __init__(self, settings, ports):
        self.settings, self.ports = settings, ports
        self.topic = settings.topic
        self.relays, self.programmes = {}, {}
        for at, one in enumerate(settings.relays):
            self.relays[one.name] = Relay(one.name, self._writer(one), one.longest_ms)
            if one.programme:
                said = one.programme
                self.programmes[one.name] = Programme(
                    said["minutes_per_hour"], said["run_s"], at * STAGGER_MS
                )
        self.backlog = Backlog(settings.keep)
        self.link = Link(settings.broker, (self.topic + "/alive", "offline"), ports.open_socket, self)
        self.mode = WAITING
        self.refused = {}
        self.alone = {"runs": 0, "ms": 0, "silent_ms": 0}
        """The last time the board went on alone."""
        self._daemon = False
        self._word_ms = ports.uptime_ms()
        self._air_ms = self._word_ms
        self._status_ms = None
        self._number = 0
        self._now = None
        """The newest reading, (number, uptime_ms, values), until it is confirmed or kept."""
        self._flying = []
        """(packet, reading's number) of what is on its way, in the order it was sent."""

    def _writer(self, one):
        return lambda on: self.ports.write(one, on)

    def turn(self):
        now_ms = self.ports.uptime_ms()
        for relay in self.relays.values():
            if relay.tick(now_ms):
                self._tell(relay, now_ms)
        was_up = self.link.up
        self.link.turn(now_ms)
        if was_up and not self.link.up:
            self._lost()
        self._go_on_alone(now_ms)
        if now_ms >= self._air_ms:
            self._air_ms = now_ms + self.settings.every_ms
            self._measure(now_ms)
        if self.link.up:
            self._send(now_ms)

    # What the link tells us.

    def link_up(self):
        self._daemon = False  # until its kept sign of life has come
        self._flying = []
        self._forget_numbers()  # a clean session brings nothing from before: nothing can be a repeat of that
        topics = [self.settings.daemon_topic]
        for name in self.relays:
            topics.append("%s/%s/set" % (self.topic, name))
        self.link.subscribe(topics)
        self.link.publish(self.topic + "/alive", b"online", True)
        now_ms = self.ports.uptime_ms()
        for relay in self.relays.values():
            self._tell(relay, now_ms)
        self._status_ms = None

    def heard(self, topic, payload, retained):
        now_ms = self.ports.uptime_ms()
        if topic == self.settings.daemon_topic:
            self._daemon = payload == b"online"
            if self._daemon and not retained:
                self._forget_numbers()  # it has begun anew, and so may its numbers
            self._spoken(now_ms)
            return
        for relay in self.relays.values():
            if topic == "%s/%s/set" % (self.topic, relay.name):
                self._obey(relay, payload, retained, now_ms)

    def confirmed(self, packet):
        for at, flying in enumerate(self._flying):
            if flying[0] == packet:
                del self._flying[at]
                if self._now and self._now[0] == flying[1]:
                    self._now = None
                else:
                    self.backlog.done(flying[1])
                return

    def _forget_numbers(self):
        for relay in self.relays.values():
            relay.last_order = None

    # Orders and leases.

    def _obey(self, relay, payload, retained, now_ms):
        order = orders.read(payload, retained, self.ports.unix_ms(), relay.last_order)
        if order.refused:
            self.refused[order.refused] = self.refused.get(order.refused, 0) + 1
            self._status_ms = None
            return
        if order.number is not None:
            relay.last_order = order.number
        self._word_ms = now_ms
        self._end_programme(now_ms)
        if order.ms:
            relay.switch_on(now_ms, order.ms, "told")
        else:
            relay.switch_off("told")
        self._tell(relay, now_ms)

    def _tell(self, relay, now_ms):
        """What a relay does, for the daemon to compare with what it asked."""
        left_s = (relay.left_ms(now_ms) + 999) // 1000
        said = {"state": "ON" if relay.on else "OFF", "left": left_s, "why": relay.why}
        self.link.publish("%s/%s/state" % (self.topic, relay.name), json.dumps(said).encode())

    # Silence.

    def _spoken(self, now_ms):
        if self._daemon:
            self._word_ms = now_ms
            self._end_programme(now_ms)

    def _go_on_alone(self, now_ms):
        if self.link.up and self._daemon:
            self._word_ms = now_ms
        silent_ms = now_ms - self._word_ms
        mode = ALONE if silent_ms >= self.settings.silent_ms else TOLD if self._daemon else WAITING
        if mode != self.mode:
            self._status_ms = None
            if mode == ALONE:
                self.alone = {"runs": 0, "ms": 0, "silent_ms": 0}
                for programme in self.programmes.values():
                    programme.begin(now_ms)
            self.mode = mode
        if mode != ALONE:
            return
        self.alone["silent_ms"] = silent_ms
        for name, programme in self.programmes.items():
            run_ms = programme.due(now_ms)
            if run_ms:
                self.alone["runs"] += 1
                self.alone["ms"] += run_ms
                self.relays[name].switch_on(now_ms, run_ms, "programme")
                self._tell(self.relays[name], now_ms)

    def _end_programme(self, now_ms):
        if self.mode != ALONE:
            return
        self.mode = WAITING
        self._status_ms = None
        for name, programme in self.programmes.items():
            programme.end(now_ms)
            relay = self.relays[name]
            if relay.on and relay.why == "programme":
                relay.switch_off("told")
                self._tell(relay, now_ms)

    # Readings.

    def _measure(self, now_ms):
        values = self.ports.air()
        if not values:
            return
        if self._now:
            # Sent perhaps, but not confirmed: kept, and sent again. The daemon knows it by time and number.
            self.backlog.put(self._now[0], self._now[1], self._now[2])
            self._flying = [flying for flying in self._flying if flying[1] != self._now[0]]
        self._number += 1
        self._now = (self._number, now_ms, values)

    def _lost(self):
        self._daemon = False
        self._flying = []

    def _send(self, now_ms):
        flying = [number for _, number in self._flying]
        if self._now and self._now[0] not in flying:
            self._publish(self._now, now_ms)
        if self.ports.unix_ms() is not None:  # kept readings without a time would be taken for fresh ones
            kept = [number for number in flying if not self._now or number != self._now[0]]
            self._send_kept(kept[-1] if kept else 0, IN_FLIGHT - len(kept), now_ms)
        if self._status_ms is None or now_ms - self._status_ms >= STATUS_MS:
            self._say_how_it_is(now_ms)

    def _send_kept(self, last, room, now_ms):
        """Up to `room` kept readings after the one numbered `last`, the oldest first."""
        place = 0
        while room > 0 and place < len(self.backlog):
            reading = self.backlog.peek(place)
            place += 1
            if reading[0] <= last:
                continue
            if not self._publish(reading, now_ms):
                return
            room -= 1

    def _publish(self, reading, now_ms):
        number, at_ms, values = reading
        said = {"n": number}
        unix_ms = self.ports.unix_ms()
        if unix_ms is not None:
            said["t"] = (unix_ms - (now_ms - at_ms)) // 1000
        for key in values:
            said[key] = round(values[key], 2)
        packet = self.link.publish(self.topic + "/air", json.dumps(said).encode())
        if packet is None:
            return False
        self._flying.append((packet, number))
        return True

    def _say_how_it_is(self, now_ms):
        said = {
            "mode": self.mode,
            "up_s": now_ms // 1000,
            "clock": self.ports.unix_ms() is not None,
            "kept": len(self.backlog),
            "dropped": self.backlog.dropped,
            "refused": self.refused,
            "breaks": self.link.breaks,
            "alone": {
                "runs": self.alone["runs"],
                "minutes": round(self.alone["ms"] / 60000, 1),
                "silent_min": self.alone["silent_ms"] // 60000,
            },
        }
        if self.link.publish(self.topic + "/status", json.dumps(said).encode(), True) is not None:
            self._status_ms = now_ms
