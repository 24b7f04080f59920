"""What two entries of the farm file must agree on: names that must exist, topics used once, bands in order.

One function per question, each noting mistakes in the draft's sheet; `check` runs them all. Equipment and
people have their own files (`relay_checks`, `people_checks`). Not here: what a single entry may hold
(`farm_file`, `wire_file`).
"""

from collections.abc import Mapping

from gillhouse.config import farm_file as ff
from gillhouse.config import wire_file as wf
from gillhouse.config.crops_here import entries, met_here
from gillhouse.config.draft import Draft
from gillhouse.config.inside_checks import check_inside
from gillhouse.config.nearest import choices
from gillhouse.config.people_checks import check_people, password_pair
from gillhouse.config.proof_checks import check_number
from gillhouse.config.references import must_exist
from gillhouse.config.relay_checks import check_relays
from gillhouse.config.species_file import BANDS, EDGES, check_band
from gillhouse.config.tree import Key
from gillhouse.config.wording import got
from gillhouse.core.crops import Species
from gillhouse.core.quantities import MEASURES, Quantity
from gillhouse.core.settings import CORE_ZONE, LINE_ZONE, SpaceKind

OUTSIDE = ("outdoor", "intake")
"""Zones whose air is not the room's."""
NOT_AIR = (*OUTSIDE, CORE_ZONE, LINE_ZONE)


def check(draft: Draft, species: Mapping[str, Species], known_species: list[str]) -> None:
    """Note every disagreement.

    Args:
        species: those that could be read.
        known_species: all ids a file exists for, broken ones too.
    """
    _ids_used_once(draft)
    _crops(draft, species, known_species)
    for ident, sensor in draft.sensors.items():
        _sensor(draft, ident, sensor)
    _topics(draft)
    check_relays(draft)
    check_inside(draft)
    check_people(draft)
    _heartbeat(draft)
    _broker(draft)


def _heartbeat(draft: Draft) -> None:
    beat = draft.heartbeat
    if beat is not None and (beat.url is None) == (beat.topic is None):
        draft.sheet.add(("heartbeat",), "goes one way; write url or topic, and not both")


def _ids_used_once(draft: Draft) -> None:
    owner: dict[str, str] = {}
    for section in ("spaces", "sensors", "relays", "programmes", "supplies", "shared_air"):
        for ident in draft.named(section):
            if ident in owner:
                draft.sheet.add(
                    (section, ident), f"this id stands under {owner[ident]} too; give one of them another"
                )
            owner.setdefault(ident, section)


def _crops(draft: Draft, species: Mapping[str, Species], known: list[str]) -> None:
    for ident, space in draft.spaces.items():
        here: Key = ("spaces", ident)
        _crop_or_crops(draft, here, space)
        if space.hose is not None and space.kind is not SpaceKind.OPEN:
            draft.sheet.add(
                (*here, "hose"),
                f"only an open space is watered by the hose's call, this is a {space.kind}; delete it",
            )
        for number, crop in enumerate(entries(space)):
            at: Key = (*here, "crop") if crop is space.crop else (*here, "crops", number)
            _crop(draft, at, crop, species, known)
        found = met_here(space, species)
        for name, quantity in BANDS.items():
            own, shipped = getattr(space.bands, name), found[1].bands[quantity] if found else None
            edges = {e: own_or(getattr(own, e), getattr(shipped, e, None)) for e in EDGES}
            if any(getattr(own, edge) is not None for edge in EDGES):
                check_band(draft.sheet, (*here, "bands", name), quantity, edges)


def _crop_or_crops(draft: Draft, here: Key, space: ff.SpaceGroup) -> None:
    """One of the two keys, or none where nothing grows; one crop with priority."""
    cold = space.kind is SpaceKind.COLD_STORE
    if cold and entries(space):
        key = "crop" if space.crop else "crops"
        draft.sheet.add((*here, key), "nothing grows in a cold store; delete it")
    elif not cold and not entries(space):
        draft.sheet.add(
            (*here, "crop"),
            "is missing; add crop: {species: ..., stage: ..., kg: ...}, or crops: with several of these",
        )
    elif space.crop and space.crops:
        draft.sheet.add((*here, "crops"), "stands beside crop; write all of them under crops and delete crop")
    first = [number for number, crop in enumerate(space.crops) if crop.priority]
    for number in first[1:]:
        draft.sheet.add(
            (*here, "crops", number, "priority"),
            f"two crops have priority (the other is #{first[0] + 1}); leave it to one",
        )


def _crop(
    draft: Draft, at: Key, crop: ff.CropGroup, species: Mapping[str, Species], known: list[str]
) -> None:
    if crop.species not in known:
        text = f"there is no species file for it (got {got(crop.species)}); {choices(crop.species, known)}"
        draft.sheet.add((*at, "species"), text)
    elif crop.species in species and crop.stage not in species[crop.species].stages:
        given = choices("", [str(stage) for stage in species[crop.species].stages])
        draft.sheet.add(
            (*at, "stage"), f"{crop.species} has no figures for it (got {got(str(crop.stage))}); {given}"
        )


def own_or(own: float | None, other: float | None) -> float | None:
    """The grower's figure, else the species file's."""
    return own if own is not None else other


def _sensor(draft: Draft, ident: str, sensor: wf.SensorGroup) -> None:
    here: Key = ("sensors", ident)
    on_off = MEASURES[sensor.quantity].on_off
    _zone(draft, here, sensor)
    if sensor.space is not None:
        must_exist(draft, "spaces", sensor.space, (*here, "space"))
    elif not on_off and sensor.zone not in (*OUTSIDE, LINE_ZONE):
        draft.sheet.add(
            (*here, "space"), "is missing; add space: ..., or zone: outdoor or intake if it is in none"
        )
    if isinstance(sensor, wf.WordsSensor):
        _words(draft, here, sensor)
    elif isinstance(sensor, wf.MeasuredGroup):
        check_number(draft, here, sensor)
    if getattr(sensor, "self_calibrating", False) and sensor.quantity is not Quantity.CO2:
        draft.sheet.add(
            (*here, "self_calibrating"),
            f"means nothing for {sensor.quantity}: only CO2 sensors set themselves by fresh air; delete it",
        )
    if sensor.silent_after is not None and sensor.silent_after <= sensor.every:
        draft.sheet.add(
            (*here, "silent_after"),
            "is not longer than every, so it would call each report late; write 3 times every",
        )


def _zone(draft: Draft, here: Key, sensor: wf.SensorGroup) -> None:
    """Inside a block and in a water line, temperature alone is measured."""
    if sensor.zone == CORE_ZONE and (sensor.quantity is not Quantity.TEMPERATURE or sensor.space is None):
        draft.sheet.add(
            (*here, "zone"),
            "core is the inside of a block: only a temperature of a space is measured there; write another"
            " word, or quantity: temperature and its space",
        )
    if sensor.zone == LINE_ZONE and sensor.quantity is not Quantity.TEMPERATURE:
        draft.sheet.add(
            (*here, "zone"),
            f"line is a water line: only its temperature is measured, not {sensor.quantity}; write another"
            " word",
        )


def _words(draft: Draft, here: Key, sensor: wf.WordsSensor) -> None:
    if sensor.quantity not in wf.WORD_KEYS:
        names = ", ".join(wf.WORD_KEYS)
        draft.sheet.add(
            (*here, "format"),
            f"words are for on/off inputs ({names}), {sensor.quantity} is a number; write number, json or"
            " senml",
        )
        return
    keys = wf.WORD_KEYS[sensor.quantity]
    if set(sensor.words) != set(keys):
        draft.sheet.add(
            (*here, "words"),
            f"should name two words for {sensor.quantity}; write {{{keys[0]}: ..., {keys[1]}: ...}}",
        )
    elif sensor.words[keys[0]].casefold() == sensor.words[keys[1]].casefold():
        draft.sheet.add(
            (*here, "words"),
            f"are the same (got {got(sensor.words[keys[0]])}); write what the board sends for each",
        )


def _place(sensor: wf.SensorGroup) -> str | None:
    """Where inside the message the value stands; None: the whole message is the value."""
    if isinstance(sensor, wf.SenmlSensor):
        return f"record {sensor.record}"
    return getattr(sensor, "path", None)


def _topics(draft: Draft) -> None:
    seen: dict[tuple[str, str | None], str] = {}
    reserved = draft.broker.base_topic
    for ident, sensor in draft.sensors.items():
        here: Key = ("sensors", ident)
        place = _place(sensor)
        same = seen.setdefault((sensor.topic, place), ident)
        if same != ident:
            where = f"at {place} " if place else ""
            draft.sheet.add(
                (*here, "topic"),
                f"{sensor.topic} {where}is already read by {same}; correct the topic or the path of one",
            )
        elif place and (whole := seen.get((sensor.topic, None))):
            draft.sheet.add(
                (*here, "topic"),
                f"{sensor.topic} is one plain value for {whole}; a message cannot be both, correct one"
                " format",
            )
        if sensor.topic == reserved or sensor.topic.startswith(f"{reserved}/"):
            draft.sheet.add(
                (*here, "topic"),
                f"topics under {reserved}/ are our own; choose another, or change broker.base_topic",
            )


def _broker(draft: Draft) -> None:
    broker = draft.broker
    password_pair(draft, ("broker",), broker)
    if broker.ca_file and broker.tls is False:
        draft.sheet.add(("broker", "ca_file"), "has no meaning with tls: off; delete one of the two")
    if draft.report.night_start == draft.report.night_end:
        draft.sheet.add(
            ("report", "night_end"),
            "is the same as night_start, a night of no length; correct one of the two",
        )


def measured(draft: Draft, space: str, quantity: Quantity) -> list[str]:
    """Sensors of `quantity` in the room air of `space`."""
    return [
        ident
        for ident, sensor in draft.sensors.items()
        if sensor.space == space and sensor.quantity is quantity and sensor.zone not in NOT_AIR
    ]
