"""A sound draft -> who is told, how, and what the helper card adds (`gillhouse.core.edges`)."""

from collections.abc import Callable
from pathlib import Path

from gillhouse.config import people_file as pf
from gillhouse.config.draft import Draft
from gillhouse.config.edges import beside
from gillhouse.core.edges import (
    WAKES,
    AlertSettings,
    AnswerBox,
    CardSettings,
    ChannelSettings,
    Neighbour,
    PersonSettings,
    ReachSettings,
    RotaSettings,
    ShutOff,
)

Given = dict[str, object]
"""Fields of `ChannelSettings` beyond the id, the kind and whether it wakes."""


def alerts(draft: Draft, folder: Path) -> AlertSettings:
    return AlertSettings(
        people=tuple(_person(draft, ident, person) for ident, person in draft.people.items()),
        rota=tuple(_rota(ident, rota) for ident, rota in draft.rota.items()),
        channels=tuple(_channel(ident, channel, folder) for ident, channel in draft.channels.items()),
    )


def card(draft: Draft) -> CardSettings:
    given = draft.card
    return CardSettings(
        emergency=given.emergency or "",
        address=given.address or "",
        shut_offs=tuple(ShutOff(one.what, one.where, one.how or "") for one in given.shut_offs),
        ring=tuple(Neighbour(one.who, one.number, one.what_for or "") for one in given.ring),
        notes=given.notes,
    )


def _person(draft: Draft, ident: str, person: pf.PersonGroup) -> PersonSettings:
    phone = person.phone or ""
    by_text = {name for name, channel in draft.channels.items() if isinstance(channel, pf.SmsChannel)}
    return PersonSettings(
        id=ident,
        name=person.name,
        reach=tuple(
            ReachSettings(reach.channel, phone if reach.channel in by_text else reach.to or "")
            for reach in person.reach
        ),
        role=person.role,
        phone=phone,
        logins=person.logins,
        quiet_from_min=person.quiet.start if person.quiet else None,
        quiet_to_min=person.quiet.end if person.quiet else None,
        priorities=person.priorities,
        spaces=person.spaces,
        report=person.report,
    )


def _rota(ident: str, rota: pf.RotaGroup) -> RotaSettings:
    return RotaSettings(
        ident, rota.first, rota.start, rota.end, tuple(sorted(rota.weekdays or ())), rota.hands_over
    )


def _channel(ident: str, channel: pf.ChannelGroup, folder: Path) -> ChannelSettings:
    kind: str = getattr(channel, "kind")  # noqa: B009  (each kind's class has it, their base has not)
    given = KINDS[kind](channel, folder)
    if channel.wakes is not None:
        given |= {"wakes": channel.wakes.rings, "wakes_why": channel.wakes.why}
    else:
        given |= {"wakes": WAKES[kind]}
    return ChannelSettings(ident, kind, **given)  # type: ignore[arg-type]  # each row below fills its own


def _mail(channel: pf.ChannelGroup, folder: Path) -> Given:
    assert isinstance(channel, pf.MailChannel)
    return {
        "host": channel.host,
        "port": channel.port or (465 if channel.security == "tls" else 587),
        "security": channel.security,
        "sender": channel.sender,
        "username": channel.username,
        "password_file": beside(folder, channel.password_file),
        "ca_file": beside(folder, channel.ca_file),
        "timeout_ms": channel.timeout,
        "answers": _answers(channel.answers, folder),
    }


def _answers(given: pf.AnswersGroup | None, folder: Path) -> AnswerBox | None:
    if given is None:
        return None
    return AnswerBox(
        given.host,
        given.port,
        given.username,
        str(beside(folder, given.password_file)),
        given.folder,
        given.every,
        beside(folder, given.ca_file),
    )


def _webhook(channel: pf.ChannelGroup, folder: Path) -> Given:
    assert isinstance(channel, pf.WebhookChannel)
    return {
        "url": channel.url,
        "token_file": beside(folder, channel.token_file),
        "ca_file": beside(folder, channel.ca_file),
        "timeout_ms": channel.timeout,
    }


def _mqtt(channel: pf.ChannelGroup, folder: Path) -> Given:
    assert isinstance(channel, pf.MqttChannel)
    return {"topic": channel.topic}


def _sms(channel: pf.ChannelGroup, folder: Path) -> Given:
    assert isinstance(channel, pf.SmsChannel)
    return {
        "device": channel.device,
        "baud": channel.baud,
        "pin_file": beside(folder, channel.pin_file),
        "look_every_ms": channel.look_every,
        "timeout_ms": channel.timeout,
    }


def _apprise(channel: pf.ChannelGroup, folder: Path) -> Given:
    assert isinstance(channel, pf.AppriseChannel)
    return {"url_file": beside(folder, channel.url_file)}


KINDS: dict[str, Callable[[pf.ChannelGroup, Path], Given]] = {
    "mail": _mail,
    "webhook": _webhook,
    "mqtt": _mqtt,
    "sms": _sms,
    "apprise": _apprise,
    "memory": lambda channel, folder: {},
}
