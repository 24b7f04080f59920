"""The kinds of value a config file may hold: durations, clock times, names, topics, yes or no.

Here: pydantic types, each refusing in the grower's words and saying what to write instead. Not here:
which key holds which (`farm_file`, `species_file`), and anything that needs a second key to judge (`checks`).
"""

import re
from datetime import date, datetime, tzinfo
from typing import Annotated
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, Strict
from pydantic_core import PydanticCustomError

from gillhouse.config.nearest import did_you_mean


class Group(BaseModel):
    """A group of keys. Unknown keys, infinities and not-a-number are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=True)


def refuse(text: str) -> PydanticCustomError:
    """An error worded by us; `text` says what is wrong and what to do."""
    return PydanticCustomError("said", "{text}", {"text": text})  # braces in the text must not be read again


_DURATION = re.compile(r"(\d{1,9}(?:\.\d{1,3})?) ?(ms|s|min|h|d)")
_UNITS_MS = {"ms": 1, "s": 1_000, "min": 60_000, "h": 3_600_000, "d": 86_400_000}


def duration_ms(value: object) -> int:
    """`30 s`, `1.5 h` -> milliseconds.

    Raises:
        PydanticCustomError: not a number with one of the units ms, s, min, h, d.
    """
    found = _DURATION.fullmatch(value.strip()) if isinstance(value, str) else None
    if found is None:
        raise refuse("should be a time with its unit; write 30 s, 10 min or 2 h")
    return round(float(found[1]) * _UNITS_MS[found[2]])


def between(low: str, high: str) -> AfterValidator:
    """Bounds of a duration, both allowed, as a grower would write them."""
    low_ms, high_ms = duration_ms(low), duration_ms(high)

    def check(value: int) -> int:
        if not low_ms <= value <= high_ms:
            raise refuse(f"should be from {low} to {high}")
        return value

    return AfterValidator(check)


def _clock_min(value: object) -> int:
    found = re.fullmatch(r"([01]\d|2[0-3]):([0-5]\d)", value) if isinstance(value, str) else None
    if found is None:
        raise refuse("should be a time of day; write hours and minutes with two digits each, as 06:30")
    return int(found[1]) * 60 + int(found[2])


def _moment(value: object) -> datetime:
    try:
        return datetime.strptime(value if isinstance(value, str) else "", "%Y-%m-%d %H:%M")  # noqa: DTZ007
    except ValueError:
        raise refuse("should be a day and a time of the farm's own clock; write 2026-11-20 17:30") from None


_YES_NO = {"yes": True, "on": True, "true": True, "no": False, "off": False, "false": False}


def _yes_no(value: object) -> bool:
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value.lower() in _YES_NO:
        return _YES_NO[value.lower()]
    raise refuse("should be yes or no")


def _text(value: object) -> str:
    """Words that go over the wire: `1`, `true` and `ON` are all taken as the text they are."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str) and value and value.isprintable():
        return value
    raise refuse("should be one line of plain text; put it in quotes")


def _name(value: object) -> str:
    if isinstance(value, str) and value.strip() == value and value.isprintable() and 0 < len(value) <= 40:
        return value
    raise refuse("should be a name of 1 to 40 letters on one line")


ID = re.compile(r"[a-z][a-z0-9-]{0,31}")


def _ident(value: object) -> str:
    if isinstance(value, str) and ID.fullmatch(value):
        return value
    raise refuse(
        "should be a short id: small letters, digits and '-', a letter first, 32 at most, as room-mist"
    )


def _topic(value: object) -> str:
    if not isinstance(value, str) or not value.isprintable() or not 0 < len(value) <= 200 or " " in value:
        raise refuse("should be an MQTT topic without spaces, as farm/room/air")
    if "#" in value or "+" in value:
        raise refuse(
            "a topic with the wildcard # or + names many; write the one full topic (gillhouse listen"
            " shows it)"
        )
    if value.startswith(("$", "/")) or value.endswith("/") or "//" in value:
        raise refuse(
            "a topic may not begin with $ or /, end with /, or hold //; write it as the board sends it"
        )
    return value


def _pointer(value: object) -> str:
    """RFC 6901: empty, or parts each begun by '/'; '~' only as '~0' or '~1'."""
    if not isinstance(value, str) or not value.startswith("/") or len(value) > 200:
        raise refuse("should be a path into the JSON message that begins with /, as /rh or /dht/humidity")
    if re.search(r"~(?![01])", value):
        raise refuse("a '~' in a path is written ~0, and a '/' inside a name ~1 (RFC 6901)")
    return value


def _zone(value: object) -> tzinfo:
    names = available_timezones()
    if isinstance(value, str) and value in names:
        return ZoneInfo(value)
    hint = did_you_mean(str(value), names) or "write region and city, as Europe/Rome"
    raise refuse(f"is no time zone this machine knows; {hint}")


def _url(value: object) -> str:
    try:
        parts = urlsplit(value) if isinstance(value, str) and value.isprintable() else None
        sound = (
            parts is not None
            and parts.scheme in ("http", "https")
            and bool(parts.hostname)
            and (parts.port or 1) > 0
        )
    except ValueError:
        sound = False
    if not sound or parts is None:
        raise refuse("should be an address that begins with https:// or http://")
    if parts.username or parts.password:
        raise refuse("holds a password; take it out and name a file in token_file")
    return str(value)


def _mail(value: object) -> str:
    if (
        isinstance(value, str)
        and re.fullmatch(r"[^\s@<>,;]{1,64}@[^\s@<>,;]{1,190}", value)
        and value.isprintable()
    ):
        return value
    raise refuse("should be a mail address, as ana@example.org")


def _phone(value: object) -> str:
    """ITU-T E.164: `+`, the country's number and the rest, at most 15 digits; spaces are for the reader."""
    number = value.replace(" ", "") if isinstance(value, str) else ""
    if not re.fullmatch(r"\+[1-9]\d{6,14}", number):
        raise refuse(
            'should be a telephone number with its country, in quotes; write "+44 7700 900123" with your own'
        )
    return number


def _short_number(value: object) -> str:
    """A number as it is dialled here: that of the rescue services, or a neighbour's."""
    if isinstance(value, str) and re.fullmatch(r"\+?[\d /-]{2,24}", value):
        return value
    raise refuse('should be a telephone number as you dial it, in quotes, as "112"')


def _line(value: object) -> str:
    if isinstance(value, str) and value.isprintable() and 0 < len(value.strip()) <= 200:
        return value.strip()
    raise refuse("should be 1 to 200 letters on one line")


def _day(value: object) -> date:
    try:
        return date.fromisoformat(value if isinstance(value, str) else "")
    except ValueError:
        raise refuse("should be a day; write 2026-12-24") from None


WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def _weekday(value: object) -> int:
    if isinstance(value, str) and value.lower() in WEEKDAYS:
        return WEEKDAYS.index(value.lower())
    raise refuse(f"should be one of {', '.join(WEEKDAYS)}")


def _login(value: object) -> str:
    """A user of this machine. Source: useradd(8) of Debian, on names."""
    if isinstance(value, str) and re.fullmatch(r"[a-z_][a-z0-9_-]{0,31}", value):
        return value
    raise refuse("should be the name of a user of this machine, as `id -un` says it")


def _device(value: object) -> str:
    if isinstance(value, str) and re.fullmatch(r"/dev/[\w./:+-]{1,200}", value) and ".." not in value:
        return value
    raise refuse("should be the modem's device; write /dev/serial/by-id/... (ls /dev/serial/by-id shows it)")


def _path(value: object) -> str:
    if isinstance(value, str) and value.isprintable() and 0 < len(value) <= 500:
        return value
    raise refuse("should be the name of a file")


def _host(value: object) -> str:
    if isinstance(value, str) and re.fullmatch(r"[A-Za-z0-9_.:-]{1,253}", value):
        return value
    raise refuse("should be a machine's name or address, as 127.0.0.1 or broker.lan")


def _protocol(value: object) -> str:
    if str(value) in ("auto", "5", "3.1.1") and not isinstance(value, float):
        return str(value)
    raise refuse("should be auto, 5 or 3.1.1")


Number = Annotated[float, Strict()]
Share = Annotated[float, Strict(), Field(ge=0, le=100)]
NotNegative = Annotated[float, Strict(), Field(ge=0)]
Positive = Annotated[float, Strict(), Field(gt=0)]
Count = Annotated[int, Strict(), Field(ge=1)]
Port = Annotated[int, Strict(), Field(ge=1, le=65_535)]
Duration = Annotated[int, BeforeValidator(duration_ms)]
"""Whole milliseconds; written `30 s`."""
ClockTime = Annotated[int, BeforeValidator(_clock_min)]
"""Minutes since local midnight; written `06:30`."""
LocalMoment = Annotated[datetime, BeforeValidator(_moment)]
"""Of the farm's own clock, without a zone; written `2026-11-20 17:30`."""
YesNo = Annotated[bool, BeforeValidator(_yes_no)]
WireText = Annotated[str, BeforeValidator(_text)]
Name = Annotated[str, BeforeValidator(_name)]
Ident = Annotated[str, BeforeValidator(_ident)]
Topic = Annotated[str, BeforeValidator(_topic)]
Pointer = Annotated[str, BeforeValidator(_pointer)]
Zone = Annotated[tzinfo, BeforeValidator(_zone)]
Url = Annotated[str, BeforeValidator(_url)]
MailAddress = Annotated[str, BeforeValidator(_mail)]
Phone = Annotated[str, BeforeValidator(_phone)]
"""`+` and digits."""
ShortNumber = Annotated[str, BeforeValidator(_short_number)]
Line = Annotated[str, BeforeValidator(_line)]
Day = Annotated[date, BeforeValidator(_day)]
Weekday = Annotated[int, BeforeValidator(_weekday)]
"""0 is Monday; written `mon`."""
Login = Annotated[str, BeforeValidator(_login)]
Device = Annotated[str, BeforeValidator(_device)]
FileName = Annotated[str, BeforeValidator(_path)]
"""Absolute, or counted from the folder the config file stands in."""
Host = Annotated[str, BeforeValidator(_host)]
Protocol = Annotated[str, BeforeValidator(_protocol)]
