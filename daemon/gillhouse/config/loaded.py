"""Files in, one `Config` out, or every mistake at once.

The way: text -> `tree` (data and places) -> `draft` (entries sound by themselves) and `species_file`
-> `checks` (what entries must agree on) -> `convert`, `edges` (frozen settings). A config is whole or not
at all: `ConfigError` carries all mistakes of all files, and nothing else leaves `load` and `load_files`.
"""

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from gillhouse.config import calls, edges, people
from gillhouse.config.checks import check
from gillhouse.config.convert import farm_settings
from gillhouse.config.draft import Draft, read
from gillhouse.config.inside_checks import safe_air
from gillhouse.config.mistake import Mistake
from gillhouse.config.people_checks import check_channel_extras
from gillhouse.config.places import CREDENTIAL, read_text, secret_path, secret_trouble, shipped_dir
from gillhouse.config.rates import rates
from gillhouse.config.relay_wires import check_extras
from gillhouse.config.species_file import laid_over, read_species
from gillhouse.config.tree import Sheet, parse
from gillhouse.config.warnings import clashing, warnings
from gillhouse.config.whole import Config
from gillhouse.core.crops import Species
from gillhouse.errors import ConfigError

FARM = "farm.yaml"
OWN = "species/"
SHIPPED = "shipped/species/"

SECRET_FILES = ("password_file", "token_file", "url_file", "pin_file")
"""Keys that name a file only its owner may read."""


def load(path: Path) -> Config:
    """The config whose farm file is `path`, with species files beside it and shipped ones.

    Also looks whether the files of secrets it names can be read by their owner alone.

    Raises:
        ConfigError: every mistake in every file.
    """
    text, mistakes = read_text(path)
    if mistakes:
        raise ConfigError([str(mistake) for mistake in mistakes])
    files, labels = {FARM: text}, {FARM: str(path)}
    for own in (
        sorted((path.parent / "species").glob("*.yaml")) if path.parent.resolve() != shipped_dir() else ()
    ):
        name = OWN + own.name
        files[name], found = read_text(own)
        labels[name] = str(own)
        mistakes += found
    return _Loading(files, labels, path, look_at_secrets=True).run(mistakes)


def load_files(files: Mapping[str, str], path: Path = Path(FARM)) -> Config:
    """The config in `files`, which may be `Config.files` of an earlier one.

    Names are `farm.yaml`, `species/ID.yaml` (the grower's) and `shipped/species/ID.yaml`. Where there is none
    of the last, the species shipped with this installation are taken.

    Args:
        path: stands in `Config.path`; no file is read from there.
    Raises:
        ConfigError: every mistake in every file.
    """
    if FARM not in files:
        raise ConfigError([f"{FARM}:1:1: is not among the files; add it"])
    return _Loading(dict(files), {}, path, look_at_secrets=False).run([])


def digest_of(files: Mapping[str, str]) -> str:
    """sha256, in hex, of the canonical JSON of name -> text."""
    canonical = json.dumps(dict(files), sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(canonical.encode("ascii")).hexdigest()


@dataclass(slots=True)
class _Loading:
    """One load under way."""

    files: dict[str, str]
    labels: dict[str, str]
    """What a file is called in a mistake, where that is not its name in `files`."""
    path: Path
    look_at_secrets: bool

    def run(self, mistakes: list[Mistake]) -> Config:
        sheet = self._sheet(FARM)
        draft = read(sheet)
        self._take_shipped(mistakes)
        known = sorted({Path(name).stem for name in self.files if name != FARM})
        read_now = {ident: self._species(ident, mistakes) for ident in known}
        species = {ident: each for ident, each in read_now.items() if each is not None}
        check(draft, species, known)
        if self.look_at_secrets:
            _look_here(draft, self.path.parent)
        mistakes += sheet.mistakes
        if mistakes or draft.farm is None:
            raise ConfigError([str(mistake) for mistake in sorted(set(mistakes))])
        used = dict(sorted(self.files.items()))
        digest = digest_of(used)
        folder = self.path.parent
        alerts = people.alerts(draft, folder)
        farm = replace(
            farm_settings(draft, draft.farm, species, digest), calling=calls.calling(draft, alerts)
        )
        return Config(
            path=self.path,
            farm=farm,
            broker=edges.broker(draft, folder),
            routes=tuple(edges.route(ident, sensor) for ident, sensor in draft.sensors.items()),
            relay_wires={
                ident: edges.wire(ident, relay, draft.farm.advise_only)
                for ident, relay in draft.relays.items()
            },
            store=edges.store(draft),
            mirror=edges.mirror(draft, folder),
            alerts=alerts,
            report=edges.report(draft, folder),
            card=people.card(draft),
            heartbeat=calls.heartbeat(draft, folder),
            rates=rates(draft.rates),
            species=species,
            files=used,
            digest=digest,
            warnings=(*warnings(draft), *clashing(farm), *safe_air(farm)),
        )

    def _sheet(self, name: str) -> Sheet:
        return parse(self.files[name], self.labels.get(name, name))

    def _take_shipped(self, mistakes: list[Mistake]) -> None:
        """The species files of this installation, unless the files are a config as it once was."""
        if any(name.startswith(SHIPPED) for name in self.files):
            return
        for path in sorted((shipped_dir() / "species").glob("*.yaml")):
            self.files[SHIPPED + path.name], found = read_text(path)
            mistakes += found

    def _species(self, ident: str, mistakes: list[Mistake]) -> Species | None:
        shipped_name, own_name = f"{SHIPPED}{ident}.yaml", f"{OWN}{ident}.yaml"
        shipped = self._sheet(shipped_name) if shipped_name in self.files else None
        own = self._sheet(own_name) if own_name in self.files else None
        sheet = laid_over(shipped, own)
        species = read_species(sheet, ident)
        mistakes += sheet.mistakes
        return species


def _look_here(draft: Draft, folder: Path) -> None:
    """Note what this machine lacks for the config: files of secrets, and libraries."""
    _secrets(draft, folder)
    check_extras(draft)
    check_channel_extras(draft)


def _secrets(draft: Draft, folder: Path) -> None:
    """Note every file of a secret that is missing, or that others can read.

    A credential is handed to the service alone: whoever checks the file from a shell cannot see it.
    """
    named: dict[tuple[str, ...], object] = {
        ("heartbeat",): draft.heartbeat,
        ("broker",): draft.broker,
        ("mirror",): draft.mirror,
    }
    named |= {("channels", ident): channel for ident, channel in draft.channels.items()}
    named |= {
        ("channels", ident, "answers"): getattr(channel, "answers", None)
        for ident, channel in draft.channels.items()
    }
    seen_here = "CREDENTIALS_DIRECTORY" in os.environ
    for key, group in named.items():
        for field in SECRET_FILES:
            name = getattr(group, field, None)
            if not name or (name.startswith(CREDENTIAL) and not seen_here):
                continue
            trouble = secret_trouble(secret_path(folder, name))
            if trouble:
                draft.sheet.add((*key, field), trouble)
