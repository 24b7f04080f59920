"""`board.json`: what it must hold, every mistake at once."""

from station.sensors import TYPES


class Broker:
    def __init__(self, said, client):
        self.host, self.port = said["host"], said.get("port", 1883)
        self.user, self.password = said.get("user", ""), said.get("password", "")
        self.keepalive_s = said.get("keepalive_s", 20)
        self.client = client


class RelaySettings:
    def __init__(self, name, said):
        self.name, self.pin = name, said["pin"]
        self.active_low = said.get("active_low", True)
        self.longest_ms = int(said["longest_s"] * 1000)
        self.programme = said.get("programme")


class Settings:
    """One board.

    Raises:
        ValueError: every mistake, one a line.
    """

    def __init__(self, said):
        wrong = mistakes(said)
        if wrong:
            raise ValueError("\n".join(wrong))
        self.name, self.topic = said["name"], said["topic"]
        self.broker = Broker(said["broker"], said["name"])
        self.daemon_topic = said.get("daemon_topic", "gillhouse/alive")
        self.every_ms = int(said.get("every_s", 30) * 1000)
        self.keep = said.get("keep", 2000)
        self.silent_ms = int(said.get("silent_min", 10) * 60000)
        self.relays = [RelaySettings(name, said["relays"][name]) for name in sorted(said.get("relays", {}))]


NUMBERS = {
    # key: least, most
    "every_s": (1, 3600),
    "keep": (10, 10000),
    "silent_min": (1, 1440),
}


def mistakes(said):
    """Everything wrong with it, as `key: what, what to do`."""
    if not isinstance(said, dict):
        return ["board.json: should be one object, { ... }"]
    wrong = []
    for key in ("name", "topic"):
        if not isinstance(said.get(key), str) or not said.get(key):
            wrong.append("%s: is missing; write a text" % key)
    for key in NUMBERS:
        if key in said:
            wrong += number(key, said[key], NUMBERS[key][0], NUMBERS[key][1])
    topic = said.get("topic")
    if isinstance(topic, str) and ("#" in topic or "+" in topic or topic.endswith("/")):
        wrong.append("topic: %r has a wildcard or ends in /; write one such as farm/tent" % topic)
    wrong += of_broker(said.get("broker"))
    for at, sensor in enumerate(said.get("sensors", [])):
        if not isinstance(sensor, dict) or sensor.get("type") not in TYPES:
            wrong.append("sensors %d: type should be one of %s" % (at + 1, ", ".join(sorted(TYPES))))
    pins = {}
    relays = said.get("relays", {})
    for name in sorted(relays):
        wrong += of_relay(name, relays[name], pins)
    return wrong


def number(key, value, least, most):
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not least <= value <= most:
        return ["%s: should be a number from %s to %s (got %r)" % (key, least, most, value)]
    return []


def of_broker(broker):
    if not isinstance(broker, dict) or not isinstance(broker.get("host"), str):
        return ["broker: host is missing; write the address of the box, as 192.0.2.10"]
    parts = broker["host"].split(".")
    if len(parts) != 4 or not all(part.isdigit() and int(part) < 256 for part in parts):
        return [
            "broker host: should be a number address such as 192.0.2.10 (got %r): a name must be asked for,"
            " and the board stands still meanwhile" % broker["host"]
        ]
    return number("broker port", broker.get("port", 1883), 1, 65535)


def of_relay(name, relay, pins):
    if not isinstance(relay, dict):
        return ["relay %s: should be an object with pin and longest_s" % name]
    here = "relay %s" % name
    wrong = number(here + " pin", relay.get("pin"), 0, 60)
    wrong += number(here + " longest_s", relay.get("longest_s"), 1, 86400)
    if wrong:
        return wrong
    if relay["pin"] in pins:
        wrong.append("%s pin: %d is %s's already" % (here, relay["pin"], pins[relay["pin"]]))
    pins[relay["pin"]] = name
    programme = relay.get("programme")
    if programme is None:
        return wrong
    if not isinstance(programme, dict):
        return wrong + ["%s programme: should be an object with minutes_per_hour and run_s" % here]
    minutes, run_s = programme.get("minutes_per_hour"), programme.get("run_s")
    wrong += number(here + " programme minutes_per_hour", minutes, 0.1, 45)
    wrong += number(here + " programme run_s", run_s, 1, relay["longest_s"])
    if not wrong and run_s > minutes * 60:
        wrong.append("%s programme run_s: one run of %s s is more than %s minutes" % (here, run_s, minutes))
    return wrong
