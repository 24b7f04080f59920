"""Every drill by name, in the order of the page."""

from tests.drills import brokers, clocks, disk, kills, mains, payloads, power, stops, week
from tests.drills.drill import Drill

DRILLS: dict[str, Drill] = {
    "kills": kills.DRILL,
    "power": power.DRILL,
    "mains": mains.DRILL,
    "frozen": stops.FROZEN,
    "network": stops.NETWORK,
    "two": stops.TWO,
    "torn": stops.TORN,
    "absent": brokers.ABSENT,
    "slow": brokers.SLOW,
    "restarted": brokers.RESTARTED,
    "wiped": brokers.WIPED,
    "broker-file": brokers.DAMAGED,
    "hour-away": brokers.QUEUED_HOUR,
    "stalled": disk.STALLED,
    "refused": disk.REFUSED,
    "real-disk": disk.REAL,
    "journal-damaged": disk.DAMAGED,
    "clock-steps": clocks.STEPS,
    "boot-1970": clocks.BOOT,
    "daylight": clocks.DAYLIGHT,
    "week": week.DRILL,
    "payloads": payloads.DRILL,
}
