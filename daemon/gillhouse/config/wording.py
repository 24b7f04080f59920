"""pydantic's errors, said so that a grower can mend them.

Here: one row per kind of error, and the search for the keys that would have been right. Not here: the rules
themselves. A value whose key sounds like a secret is never repeated in a message.
"""

from collections.abc import Mapping
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from gillhouse.config.nearest import choices, did_you_mean
from gillhouse.config.tree import Key, Sheet

_TEXTS: Mapping[str, str] = {
    "float_type": "should be a number with a point, without quotes or unit",
    "int_type": "should be a whole number, without quotes or unit",
    "int_from_float": "should be a whole number",
    "finite_number": "should be an ordinary number, not infinite",
    "greater_than": "should be more than {gt:g}",
    "greater_than_equal": "should be {ge:g} or more",
    "less_than_equal": "should be {le:g} or less",
    "less_than": "should be less than {lt:g}",
    "model_type": "should be a group of keys, one a line, indented under it",
    "dict_type": "should be a group of keys, one a line, indented under it",
    "list_type": "should be a list, as [one, two]",
    "tuple_type": "should be a list, as [one, two]",
    "too_short": "should hold at least {min_length}",
    "too_long": "should hold at most {max_length}",
    "string_type": "should be text",
    "string_too_short": "should not be empty",
    "string_too_long": "should be at most {max_length} letters",
    "string_unicode": "holds letters that cannot be stored; type it again",
    "said": "{text}",
}

SECRETS = frozenset({"password", "passwd", "pass", "token", "secret", "key", "api_key", "apikey", "pin"})
"""Keys that never exist: a secret stands in a file of its own."""


M = TypeVar("M", bound=BaseModel)


def validate(sheet: Sheet, model: type[M], data: object, key: Key) -> M | None:
    """`data` as a `model`, or None with every mistake noted in `sheet`."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            loc = tuple(step for step in detail["loc"] if step != "[key]")  # pydantic's mark of a wrong key
            sheet.add((*key, *loc), worded(model, detail))
        return None


def worded(model: type[BaseModel], detail: ErrorDetails) -> str:
    """One error as `what is wrong (got ...), what to do`."""
    kind, loc = detail["type"], detail["loc"]
    if kind == "missing":
        return f"is missing; add a line '{loc[-1]}: ...' here"
    if kind == "extra_forbidden":
        return _unknown_key(model, loc)
    context: dict[str, Any] = detail.get("ctx", {})
    if kind in ("enum", "literal_error"):
        expected = str(context["expected"]).replace("'", "")
        text = f"should be {expected}"
        near = did_you_mean(str(detail["input"]), expected.replace(" or ", ", ").split(", "))
        return f"{text} (got {got(detail['input'])}){'; ' + near if near else ''}"
    text = _TEXTS[kind].format(**context) if kind in _TEXTS else detail["msg"]
    what, _, todo = text.partition("; ")
    return f"{what} (got {got(detail['input'])}){'; ' + todo if todo else ''}"


def got(value: object) -> str:
    """The offending value, short and printable."""
    if isinstance(value, dict):
        return "a group of keys"
    if isinstance(value, list | tuple):
        return "a list" if value else "an empty list"
    if value is None:
        return "nothing"
    if isinstance(value, str) and "://" in value and "@" in value:
        return "an address with a password, not repeated here"
    text = ascii(value) if isinstance(value, str) and not value.isprintable() else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _unknown_key(model: type[BaseModel], loc: tuple[int | str, ...]) -> str:
    word = str(loc[-1])
    known = {name for found in _models_at(model, loc[:-1]) for name in found.model_fields}
    if word.lower() in SECRETS:
        files = sorted(
            name for name in known if name.endswith(("password_file", "token_file", "url_file", "pin_file"))
        )
        where = f"name that file in {' or '.join(files)}" if files else "take it out"
        return (
            "a secret does not belong in this file; put it in a file only you can read (mode 0600) and"
            f" {where}"
        )
    return f"unknown key; {choices(word, known)}"


def _models_at(model: type[BaseModel], loc: tuple[int | str, ...]) -> list[type[BaseModel]]:
    """The groups that may stand at `loc` inside `model`."""
    models = [model]
    for step in loc:
        inside = [
            found
            for each in models
            if step in each.model_fields
            for found in _models_in(each.model_fields[str(step)].annotation)
        ]
        models = inside or models
    return models


def _models_in(annotation: object) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [found for part in get_args(annotation) for found in _models_in(part)]
