"""A name in one entry that must stand in another section."""

from gillhouse.config.draft import Draft
from gillhouse.config.nearest import choices
from gillhouse.config.tree import Key
from gillhouse.config.wording import got

_KINDS = {"people": "person", "shared_air": "shared air", "supplies": "supply"}


def must_exist(draft: Draft, section: str, name: str, key: Key) -> bool:
    """Note at `key` that `section` has no `name`. True where it has."""
    if name in draft.named(section):
        return True
    kind = _KINDS.get(section, section.rstrip("s"))
    draft.sheet.add(key, f"there is no {kind} {got(name)}; {choices(name, draft.named(section))}")
    return False
