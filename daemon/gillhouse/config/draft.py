"""The farm file, section by section: each entry sound by itself, or a mistake for it.

Each entry is validated alone, so that one broken sensor does not hide what is wrong with the next, and the
checks between entries (`checks`) still run over all that are sound.
"""

from dataclasses import dataclass, field
from typing import TypeVar

from gillhouse.config import farm_file as ff
from gillhouse.config import guard_file as gf
from gillhouse.config import people_file as pf
from gillhouse.config import wire_file as wf
from gillhouse.config.fields import ID, Group
from gillhouse.config.nearest import choices
from gillhouse.config.rates import RatesGroup
from gillhouse.config.tree import Sheet
from gillhouse.config.wording import SECRETS, got, validate
from gillhouse.core.inputs import DEADLINE

G = TypeVar("G", bound=Group)

SINGLE = ("farm", "broker", "alarms", "report", "water", "store", "mirror", "card", "calls", "heartbeat",
          "rates", "safety")  # fmt: skip
MANY = (
    "spaces", "sensors", "relays", "programmes", "supplies", "shared_air", "channels", "people", "rota",
    "statements",
)  # fmt: skip


@dataclass(slots=True)
class Draft:
    """What could be read. `farm` is None only where a mistake is noted for it."""

    sheet: Sheet
    farm: ff.FarmGroup | None = None
    broker: ff.BrokerGroup = field(default_factory=ff.BrokerGroup)
    alarms: ff.AlarmsGroup = field(default_factory=ff.AlarmsGroup)
    report: ff.ReportGroup = field(default_factory=ff.ReportGroup)
    water: ff.WaterGroup = field(default_factory=ff.WaterGroup)
    safety: gf.SafetyGroup = field(default_factory=gf.SafetyGroup)
    statements: dict[str, gf.StatementGroup] = field(default_factory=dict)
    store: ff.StoreGroup = field(default_factory=ff.StoreGroup)
    mirror: ff.MirrorGroup | None = None
    spaces: dict[str, ff.SpaceGroup] = field(default_factory=dict)
    sensors: dict[str, wf.SensorGroup] = field(default_factory=dict)
    relays: dict[str, wf.RelayGroup] = field(default_factory=dict)
    programmes: dict[str, ff.ProgrammeGroup] = field(default_factory=dict)
    supplies: dict[str, ff.SupplyGroup] = field(default_factory=dict)
    shared_air: dict[str, ff.SharedAirGroup] = field(default_factory=dict)
    channels: dict[str, pf.ChannelGroup] = field(default_factory=dict)
    people: dict[str, pf.PersonGroup] = field(default_factory=dict)
    rota: dict[str, pf.RotaGroup] = field(default_factory=dict)
    card: pf.CardGroup = field(default_factory=pf.CardGroup)
    calls: ff.CallsGroup = field(default_factory=ff.CallsGroup)
    heartbeat: ff.HeartbeatGroup | None = None
    rates: RatesGroup = field(default_factory=RatesGroup)

    def named(self, section: str) -> list[str]:
        """Every id the file gives in `section`, broken entries too: naming one is no second mistake."""
        return list(self.sheet.group(section))


def read(sheet: Sheet) -> Draft:
    """All of `sheet` that is sound by itself; mistakes are noted in `sheet`."""
    draft = Draft(sheet)
    if not isinstance(sheet.data, dict):
        if not sheet.mistakes:
            sheet.add(
                (),
                f"should hold sections such as farm and spaces (got {got(sheet.data)}); see the shipped"
                " example",
            )
        return draft
    for name in sheet.data:
        if name.lower() in SECRETS:
            sheet.add(
                (name,),
                "a secret does not belong in this file; put it in a file only you can read (mode 0600)",
            )
        elif name not in SINGLE + MANY:
            sheet.add((name,), f"unknown section; {choices(name, SINGLE + MANY)}")
    if sheet.data.get("farm") is None:
        sheet.add(("farm",), "is missing; add the section with name and zone")
    _singles(draft)
    draft.spaces = _many(sheet, "spaces", ff.SpaceGroup)
    draft.programmes = _many(sheet, "programmes", ff.ProgrammeGroup)
    draft.supplies = _many(sheet, "supplies", ff.SupplyGroup)
    draft.shared_air = _many(sheet, "shared_air", ff.SharedAirGroup)
    draft.people = _many(sheet, "people", pf.PersonGroup)
    draft.rota = _many(sheet, "rota", pf.RotaGroup)
    draft.statements = _many(sheet, "statements", gf.StatementGroup)
    draft.sensors = _chosen(sheet, "sensors", "format", wf.SENSORS)
    draft.relays = _chosen(sheet, "relays", "role", wf.RELAYS)
    draft.channels = _chosen(sheet, "channels", "kind", pf.CHANNELS)
    if not draft.named("spaces"):
        sheet.add(("spaces",), "is missing; add at least one space")
    return draft


def _singles(draft: Draft) -> None:
    sheet = draft.sheet
    draft.farm = _single(sheet, "farm", ff.FarmGroup)
    draft.broker = _single(sheet, "broker", ff.BrokerGroup) or draft.broker
    draft.alarms = _single(sheet, "alarms", ff.AlarmsGroup) or draft.alarms
    draft.report = _single(sheet, "report", ff.ReportGroup) or draft.report
    draft.safety = _single(sheet, "safety", gf.SafetyGroup) or draft.safety
    draft.water = _single(sheet, "water", ff.WaterGroup) or draft.water
    draft.store = _single(sheet, "store", ff.StoreGroup) or draft.store
    draft.card = _single(sheet, "card", pf.CardGroup) or draft.card
    draft.calls = _single(sheet, "calls", ff.CallsGroup) or draft.calls
    draft.heartbeat = _single(sheet, "heartbeat", ff.HeartbeatGroup)
    draft.rates = _single(sheet, "rates", RatesGroup) or draft.rates
    draft.mirror = _single(sheet, "mirror", ff.MirrorGroup)


def _single(sheet: Sheet, name: str, model: type[G]) -> G | None:
    data = sheet.group().get(name)
    return None if data is None else validate(sheet, model, data, (name,))


def _entries(sheet: Sheet, section: str) -> dict[str, object]:
    """The section's entries with a usable id. A section left empty counts as not there."""
    data = sheet.group().get(section)
    if data is not None and not isinstance(data, dict):
        sheet.add((section,), f"should be a group of ids, one a line, indented under it (got {got(data)})")
    sound = {}
    for ident, value in sheet.group(section).items():
        if not ID.fullmatch(ident) or ident == DEADLINE:
            sheet.add(
                (section, ident),
                "is no usable id; write small letters, digits and '-', a letter first, 32 at most",
            )
        else:
            sound[ident] = value
    return sound


def _many(sheet: Sheet, section: str, model: type[G]) -> dict[str, G]:
    read = {
        ident: validate(sheet, model, value, (section, ident))
        for ident, value in _entries(sheet, section).items()
    }
    return {ident: group for ident, group in read.items() if group is not None}


def _chosen(sheet: Sheet, section: str, key: str, models: dict[str, type[G]]) -> dict[str, G]:
    """Entries whose keys depend on one of them, such as a sensor's on its format."""
    read: dict[str, G] = {}
    for ident, value in _entries(sheet, section).items():
        choice = value.get(key) if isinstance(value, dict) else None
        if not isinstance(value, dict):
            sheet.add(
                (section, ident),
                f"should be a group of keys, one a line, indented under it (got {got(value)})",
            )
        elif choice is None:
            sheet.add((section, ident, key), f"is missing; {choices('', models)}")
        elif not isinstance(choice, str) or choice not in models:
            sheet.add(
                (section, ident, key), f"is not known (got {got(choice)}); {choices(str(choice), models)}"
            )
        elif group := validate(sheet, models[choice], value, (section, ident)):
            read[ident] = group
    return read
