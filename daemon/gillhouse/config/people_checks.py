"""What people, channels and the rota must agree on: ways that exist, numbers that are one person's.

One function per question, each noting mistakes in the draft's sheet. Not here: what a single entry may hold
(`farm_file`), and what is allowed yet worth a second look (`warnings`).
"""

from importlib.util import find_spec

from gillhouse.config import farm_file as ff
from gillhouse.config import people_file as pf
from gillhouse.config.draft import Draft
from gillhouse.config.references import must_exist
from gillhouse.config.tree import Key
from gillhouse.config.wording import got
from gillhouse.core.edges import PersonRole


def check_people(draft: Draft) -> None:
    """Note every disagreement between people, channels and the rota."""
    for ident, person in draft.people.items():
        here: Key = ("people", ident)
        for number, reach in enumerate(person.reach):
            _reach(draft, (*here, "reach", number), person, reach)
        for number, space in enumerate(person.spaces or ()):
            must_exist(draft, "spaces", space, (*here, "spaces", number))
        if person.quiet and person.quiet.start == person.quiet.end:
            draft.sheet.add((*here, "quiet", "end"), "is the same as start; correct one, or delete quiet")
    _one_person_each(draft)
    _somebody_owns(draft)
    for ident, rota in draft.rota.items():
        _rota(draft, ("rota", ident), rota)
    for ident, channel in draft.channels.items():
        if isinstance(channel, pf.MailChannel):
            _mail(draft, ("channels", ident), channel)


def _reach(draft: Draft, here: Key, person: pf.PersonGroup, reach: pf.ReachGroup) -> None:
    must_exist(draft, "channels", reach.channel, (*here, "channel"))
    channel = draft.channels.get(reach.channel)
    if isinstance(channel, pf.MailChannel) and reach.to is None:
        draft.sheet.add((*here, "to"), "is missing; a mail needs an address: add to: name@example.org")
    elif channel is not None and not isinstance(channel, pf.MailChannel) and reach.to is not None:
        draft.sheet.add((*here, "to"), f"only mail has an address, {reach.channel} is none; delete it")
    if isinstance(channel, pf.SmsChannel) and person.phone is None:
        draft.sheet.add(
            (*here, "channel"),
            f'{reach.channel} sends texts, and no number is known; add phone: "+..." to this person',
        )


def _one_person_each(draft: Draft) -> None:
    """A number, an address or a login tells who somebody is, so it belongs to one person alone."""
    owner: dict[str, str] = {}
    for ident, person in draft.people.items():
        marks: list[tuple[Key, str]] = [(("logins", number), one) for number, one in enumerate(person.logins)]
        marks += [(("phone",), person.phone)] if person.phone else []
        marks += [
            (("reach", number, "to"), reach.to.casefold())
            for number, reach in enumerate(person.reach)
            if reach.to
        ]
        for key, mark in marks:
            first = owner.setdefault(mark, ident)
            if first != ident:
                draft.sheet.add(
                    ("people", ident, *key),
                    f"is {first}'s too (got {got(mark)}): nobody could tell who answered; give each their"
                    " own",
                )


def _somebody_owns(draft: Draft) -> None:
    if draft.people and all(person.role is not PersonRole.OWNER for person in draft.people.values()):
        draft.sheet.add(
            ("people",), "nobody is owner, so nobody could change anything; write role: owner once"
        )


def _rota(draft: Draft, here: Key, rota: pf.RotaGroup) -> None:
    for number, person in enumerate(rota.first):
        must_exist(draft, "people", person, (*here, "first", number))
        if person in rota.first[:number]:
            draft.sheet.add((*here, "first", number), f"{person} stands here twice; delete one")
    if rota.start and rota.end and rota.end < rota.start:
        draft.sheet.add((*here, "end"), f"is before start (got {rota.end}); exchange the two")


def _mail(draft: Draft, here: Key, channel: pf.MailChannel) -> None:
    password_pair(draft, here, channel)
    if channel.username and channel.security == "off":
        draft.sheet.add(
            (*here, "security"), "off would send the password in the clear; write starttls or tls"
        )


EXTRAS = {"sms": "serial", "apprise": "apprise"}
"""What an extra of this package brings, by kind of channel."""


def check_channel_extras(draft: Draft) -> None:
    """Note channels whose libraries are not installed on this machine."""
    for ident, channel in draft.channels.items():
        kind: str = getattr(channel, "kind")  # noqa: B009  (each kind's class has it, their base has not)
        if kind in EXTRAS and find_spec(EXTRAS[kind]) is None:
            draft.sheet.add(
                ("channels", ident, "kind"),
                f"{kind} needs {EXTRAS[kind]}, not installed here; run pip install 'gillhouse[{kind}]' in the"
                " program's own environment",
            )


def password_pair(draft: Draft, here: Key, group: ff.BrokerGroup | pf.MailChannel) -> None:
    """Note a name without its password, or the other way round."""
    if group.password_file and not group.username:
        draft.sheet.add((*here, "password_file"), "a password needs the name it belongs to; add username")
    if group.username and not group.password_file:
        draft.sheet.add(
            (*here, "username"),
            "a name needs its password; add password_file, naming a file only you can read (mode 0600)",
        )
