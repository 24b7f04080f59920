"""Who is told of what, by which ways, and whether any of them rings at night, in words for `check`."""

from collections.abc import Iterator

from gillhouse.config import Config
from gillhouse.config.fields import WEEKDAYS
from gillhouse.core.edges import ChannelSettings, PersonSettings, RotaSettings

PRIORITIES = {1: "wakes someone", 2: "high", 3: "daytime"}


def people_told(config: Config) -> Iterator[str]:
    """Channels, people and rota of the config, line by line."""
    channels = {channel.id: channel for channel in config.alerts.channels}
    yield from (_channel(channel) for channel in channels.values())
    for person in config.alerts.people:
        yield from _person(person, channels)
    yield from (_rota(one, config) for one in config.alerts.rota)
    report = config.report
    night = f"{_clock(report.night_from_min)} to {_clock(report.night_to_min)}"
    sent = "not sent" if report.send_at_min is None else f"sent at {_clock(report.send_at_min)}"
    yield f"Night report: {night}, {sent}"


def rings(channel: ChannelSettings) -> str:
    """Whether a message on it rings at night, and by whose word."""
    words = "rings at night" if channel.wakes else "does not ring at night"
    return f"{words} ({channel.wakes_why})" if channel.wakes_why else words


def _channel(channel: ChannelSettings) -> str:
    answers = ""
    if channel.kind == "sms":
        answers = f"; answers are read from it every {channel.look_every_ms / 1000:g} s"
    elif channel.answers is not None:
        answers = (
            f"; answers are fetched from {channel.answers.host} every {channel.answers.every_ms / 1000:g} s"
        )
    return f"Channel {channel.id}: {channel.kind}, {rings(channel)}{answers}"


def _person(person: PersonSettings, channels: dict[str, ChannelSettings]) -> Iterator[str]:
    ways = ", then ".join(
        f"{channels[reach.channel].kind} ({reach.channel}{': ' + reach.to if reach.to else ''})"
        for reach in person.reach
    )
    alarms = ", ".join(f"{priority} ({PRIORITIES[priority]})" for priority in person.priorities)
    of = "every space" if person.spaces is None else ", ".join(person.spaces)
    report = ", and the night report" if person.report else ""
    yield f"{person.name} gets alarms of priority {alarms} of {of}{report}, by {ways}"
    said = [f"  {person.role}"]
    said += [f"is {' and '.join(person.logins)} on this machine"] if person.logins else []
    if person.quiet_from_min is not None and person.quiet_to_min is not None:
        said.append(f"asleep from {_clock(person.quiet_from_min)} to {_clock(person.quiet_to_min)}")
    yield "; ".join(said)


def _rota(rota: RotaSettings, config: Config) -> str:
    names = {person.id: person.name for person in config.alerts.people}
    days = ", ".join(WEEKDAYS[day] for day in rota.weekdays) or "every day"
    span = (f" from {rota.start}" if rota.start else "") + (f" to {rota.end}" if rota.end else "")
    first = ", then ".join(names[one] for one in rota.first)
    return f"Rota {rota.id}: {days}{span}, changing at {_clock(rota.hands_over_min)}: first {first}"


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02}:{minutes % 60:02}"
