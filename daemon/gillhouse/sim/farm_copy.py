"""A farm file made fit for a trial: the grower's text, with every wire to the real world cut and tied anew.

Changed in the text itself, so that comments and bands stay as they were: every topic moves under `trial/`,
the broker becomes the trial's own on this machine, messages to people go to a channel that keeps them in
memory, a mirror is left out, the reports' night is the trial's, the name says that all is simulated, and
"advise only" is lifted, for here it is safe to let the relays go. A relay on a pin or a Modbus board
becomes one behind the trial's broker; should a real one be left, there is no trial. What the trial leaves
behind is this file, loadable like any other.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import yaml

from gillhouse.config import Config, load
from gillhouse.core.edges import RelayWire
from gillhouse.sim.link import TrialError

PREFIX = "trial/"
"""Every topic of a trial stands under this; no real board listens there."""
PORT = 18_830
"""Of the trial's broker, as the file says it. The broker itself takes whatever port is free (`trial_config`):
the port is no part of the night, and the same seed shall leave the same file."""
FARM_FILE = "farm.yaml"
REAL = ("gpio", "modbus")
"""Drivers of relays that hang on this machine itself, and the names of their groups."""
MARK = "SIMULATED: "
HEAD = """\
# SIMULATED. This is the farm file of a trial run (`gillhouse demo`): an invented farm, invented weather,
# boards that are programs. Its topics stand under {prefix} and no real relay listens to them.

"""
Edit = tuple[int, int, str]
"""(from, to, what stands there instead), as places in the text."""


def trial_text(text: str) -> str:
    """The trial's farm file, made from `text`.

    Raises:
        TrialError: `text` is no YAML that holds a farm.
    """
    try:
        # Only places are taken from here, never values: the base loader leaves every scalar as written.
        root = yaml.compose(text, Loader=yaml.BaseLoader)
    except yaml.YAMLError as error:
        raise TrialError(f"the farm file is no YAML, mend it first: {error}") from error
    if not isinstance(root, yaml.MappingNode):
        raise TrialError("the farm file holds no sections: give one that `gillhouse check` accepts")
    edits = [*_broker(root), *_name(root), *_channels(root), *_mirror(root), *_report(root)]
    cut = [(begin, end) for begin, end, _ in edits]
    for begin, end, new in (*_topics(root), *_advice(root), *_here(root)):
        if not any(a <= begin < b for a, b in cut):
            edits.append((begin, end, new))
    for begin, end, new in sorted(edits, reverse=True):
        text = text[:begin] + new + text[end:]
    return HEAD.format(prefix=PREFIX) + text


def write_trial(files: Mapping[str, str], folder: Path) -> Path:
    """Writes the trial's files into `folder`. Returns the farm file's path.

    Args:
        files: as `Config.files`; a species file of either kind goes to `folder/species`.
    """
    for name, text in files.items():
        if name == FARM_FILE:
            continue
        species = folder / "species" / Path(name).name
        species.parent.mkdir(parents=True, exist_ok=True)
        if not species.exists() or name.startswith("species/"):
            species.write_text(text, encoding="utf-8")
    farm = folder / FARM_FILE
    farm.write_text(trial_text(files[FARM_FILE]), encoding="utf-8")
    return farm


def trial_config(files: Mapping[str, str], folder: Path, port: int) -> Config:
    """Writes the trial's files into `folder` and loads them, with the broker on `port` of this machine.

    Raises:
        ConfigError: the mistakes in `files`, which the trial's copy shares.
        TrialError: a relay would still be a real one.
    """
    config = load(write_trial(files, folder))
    none_is_real(config.relay_wires.values())
    return replace(config, broker=replace(config.broker, port=port))


def none_is_real(wires: Iterable[RelayWire]) -> None:
    """
    Raises:
        TrialError: one of them would move something outside the trial.
    """
    for wire in wires:
        behind_us = wire.driver == "mqtt" and (wire.command_topic or "").startswith(PREFIX)
        if wire.driver != "memory" and not behind_us:
            what = f"relay {wire.relay} would be the real one ({wire.driver})"
            raise TrialError(f"{what}: there is no trial of it")


Pair = tuple[yaml.Node, yaml.Node]


def _pairs(node: yaml.Node) -> Iterator[Pair]:
    if isinstance(node, yaml.MappingNode):
        yield from node.value


def _section(root: yaml.Node, name: str) -> Pair | None:
    return next(((key, value) for key, value in _pairs(root) if key.value == name), None)


def _all_pairs(node: yaml.Node) -> Iterator[Pair]:
    for key, value in _pairs(node):
        yield key, value
        yield from _all_pairs(value)
    if isinstance(node, yaml.SequenceNode):
        for item in node.value:
            yield from _all_pairs(item)


def _end(node: yaml.Node) -> int:
    """Where `node`'s last character stands; a block's own mark lies at the next token, comments and all."""
    block = isinstance(node, yaml.CollectionNode) and not node.flow_style
    if not block or not node.value:
        return _index(node.end_mark)
    last = node.value[-1]
    return _end(last[1] if isinstance(last, tuple) else last)


def _index(mark: yaml.Mark | None) -> int:
    assert mark is not None
    return mark.index


def _instead(pair: Pair, new: str) -> Edit:
    """Everything after the key, whatever its shape."""
    key, value = pair
    return _index(key.end_mark), max(_end(value), _index(key.end_mark)), f": {new}"


def _broker(root: yaml.Node) -> Iterator[Edit]:
    ours = (
        f'{{host: 127.0.0.1, port: {PORT}, protocol: "3.1.1", client_id: trial, '
        f"base_topic: {PREFIX}gillhouse}}"
    )
    pair = _section(root, "broker")
    if pair:
        yield _instead(pair, ours)
    else:
        yield _index(root.start_mark), _index(root.start_mark), f"broker: {ours}\n"


def _name(root: yaml.Node) -> Iterator[Edit]:
    farm = _section(root, "farm")
    if farm is None:
        return
    for key, value in _pairs(farm[1]):
        if key.value == "name" and isinstance(value, yaml.ScalarNode) and not value.value.startswith(MARK):
            quoted = value.value.replace("\\", "\\\\").replace('"', '\\"')
            yield _instead((key, value), f'"{MARK}{quoted}"')
    if not any(key.value == "advise_only" for key, _ in _pairs(farm[1])):
        first = next(iter(_pairs(farm[1])), None)
        if first is None:
            return
        column = first[0].start_mark.column if first[0].start_mark else 0
        joint = ", " if isinstance(farm[1], yaml.MappingNode) and farm[1].flow_style else "\n" + " " * column
        begin = _index(first[0].start_mark)
        yield begin, begin, f"advise_only: no{joint}"


def _advice(root: yaml.Node) -> Iterator[Edit]:
    for key, value in _all_pairs(root):
        if key.value == "advise_only":
            yield _instead((key, value), "no")


def _here(root: yaml.Node) -> Iterator[Edit]:
    """A relay on a pin or a coil is put behind the trial's broker."""
    section = _section(root, "relays")
    for ident, relay in _pairs(section[1]) if section else ():
        drivers = [pair for pair in _pairs(relay) if pair[0].value == "driver" and pair[1].value in REAL]
        for driver in drivers:
            yield _instead(driver, "mqtt")
        for key, value in _pairs(relay) if drivers else ():
            if key.value in REAL:
                topic = f'command: {{topic: "{PREFIX}here/{ident.value}/set"}}'
                yield _index(key.start_mark), _end(value), topic


def _topics(root: yaml.Node) -> Iterator[Edit]:
    for key, value in _all_pairs(root):
        if key.value == "topic" and not str(value.value).startswith(PREFIX):
            yield _instead((key, value), f'"{PREFIX}{value.value}"')


def _channels(root: yaml.Node) -> Iterator[Edit]:
    pair = _section(root, "channels")
    if pair:
        yield _instead(pair, "{trial: {kind: memory}}")
    for key, value in _all_pairs(root):
        if key.value == "reach":
            yield _instead((key, value), "[{channel: trial}]")


def _report(root: yaml.Node) -> Iterator[Edit]:
    """The trial's night is told as the night, and at its end."""
    ours = "{night_start: 20:00, night_end: 08:00, send_at: 08:00}"
    pair = _section(root, "report")
    if pair:
        yield _instead(pair, ours)
    else:
        yield _index(root.start_mark), _index(root.start_mark), f"report: {ours}\n"


def _mirror(root: yaml.Node) -> Iterator[Edit]:
    pair = _section(root, "mirror")
    if pair:
        yield _index(pair[0].start_mark), _end(pair[1]), ""
