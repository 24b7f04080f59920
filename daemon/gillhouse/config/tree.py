"""Text of a config file -> plain data, with the line and column of every key.

Here: YAML 1.2 and nothing of what it means. Scalars follow YAML 1.2's core schema (yamlcore), so that `on`,
`no`, `22:30` and dates stay the text the grower wrote. Refused: anchors and aliases (300 bytes of them can
fill the memory), tags, nesting deeper than 40, files over 1 MB, keys given twice (all of them reported).
Not here: which keys exist (`farm_file`, `species_file`), wording of their mistakes (`wording`).
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

import yaml
import yamlcore

from gillhouse.config.mistake import MAX_BYTES, Mistake

MAX_DEPTH = 40

Key = tuple[str | int, ...]
"""The way to a value: names of groups, and numbers of list items."""


@dataclass(slots=True)
class Sheet:
    """One parsed file: its data, where each key stands, and the mistakes found so far."""

    name: str
    """As the grower knows it; stands before each mistake."""
    data: object = None
    where: dict[Key, tuple[int, int]] = field(default_factory=lambda: {(): (1, 1)})
    mistakes: list[Mistake] = field(default_factory=list)

    def add(self, key: Key, text: str) -> None:
        """Note a mistake at `key`, or at the nearest group around it that stands in the file."""
        at = key
        while at not in self.where:
            at = at[:-1]
        line, column = self.where[at]
        self.mistakes.append(Mistake(self.name, line, column, dotted(key), text))

    def group(self, *key: str) -> dict[str, object]:
        """The group of keys at `key`; empty where there is none."""
        data = self.data
        for step in key:
            data = data.get(step) if isinstance(data, dict) else None
        return data if isinstance(data, dict) else {}


def dotted(key: Key) -> str:
    """`key` as a person reads it; list items count from 1."""
    return "".join(f" #{step + 1}" if isinstance(step, int) else f".{step}" for step in key).lstrip(".")


def parse(text: str, name: str) -> Sheet:
    """`text` as data. Never raises: whatever is wrong stands in the sheet's `mistakes`.

    A file that breaks YAML's own rules has one mistake and no data: what follows the break cannot be read.
    """
    sheet = Sheet(name)
    if len(text.encode("utf-8", "surrogatepass")) > MAX_BYTES:
        sheet.add(
            (), f"file is over {MAX_BYTES:,} bytes; a config is a few hundred lines, is this the right file?"
        )
        return sheet
    try:
        loader = _Loader(text)
        node = loader.get_single_node()
        if node is None:
            sheet.add((), "the file is empty; start from the shipped example")
            return sheet
        sheet.data = _Builder(loader, sheet).build(node, ())
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        sheet.where[()] = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        sheet.add((), f"cannot be read as YAML: {_what(error)}")
    except yaml.reader.ReaderError as error:
        before = text[: error.position]
        sheet.where[()] = (before.count("\n") + 1, len(before) - before.rfind("\n"))
        found = error.character if isinstance(error.character, int) else ord(str(error.character)[:1])
        sheet.add((), f"character U+{found:04X} is not allowed; delete it, or type the line again")
    return sheet


def _what(error: yaml.MarkedYAMLError) -> str:
    problem = str(error.problem or error.context or "unknown trouble")
    if "\\t" in problem or "'\t'" in problem:
        return "a tab stands where spaces belong; indent with spaces"
    hint = "" if ";" in problem else "; look at this line and the one above it (indent, brackets, quotes)"
    return problem + hint


class _Loader(yamlcore.CoreLoader):  # type: ignore[misc]  # yamlcore carries no types
    """YAML 1.2 core, without aliases and with a bound on nesting."""

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.depth = 0

    def compose_node(self, parent: object, index: object) -> yaml.Node | None:
        if self.check_event(yaml.AliasEvent):
            event = self.peek_event()
            raise _refused(f"alias *{event.anchor} is not allowed; write the lines out again here", event)
        event = self.peek_event()
        if getattr(event, "anchor", None):
            raise _refused(
                f"anchor &{event.anchor} is not allowed; write the lines out where they are needed", event
            )
        if getattr(event, "tag", None):
            raise _refused(f"tag {event.tag} is not allowed; write the plain value", event)
        self.depth += 1
        try:
            if self.depth > MAX_DEPTH:
                raise _refused(f"nested deeper than {MAX_DEPTH}; look for brackets that do not close", event)
            node: yaml.Node | None = super().compose_node(parent, index)
            return node
        finally:
            self.depth -= 1


def _refused(text: str, event: yaml.Event) -> yaml.composer.ComposerError:
    mark = event.start_mark
    return yaml.composer.ComposerError(None, None, text, mark)  # type: ignore[arg-type]  # or its C twin


@dataclass(slots=True)
class _Builder:
    """Turns nodes into data and notes where each stands."""

    loader: _Loader
    sheet: Sheet

    def build(self, node: yaml.Node, key: Key) -> object:
        if isinstance(node, yaml.MappingNode):
            return {name: self.build(value, (*key, name)) for name, value in self._pairs(node, key)}
        if isinstance(node, yaml.SequenceNode):
            return [self._item(value, (*key, number)) for number, value in enumerate(node.value)]
        try:
            return self.loader.construct_object(node, deep=True)
        except ValueError:  # such as a whole number of thousands of digits
            self.sheet.add(key, f"cannot be read (got {node.value[:30]!r}...); write a plain value")
            return None

    def _pairs(self, node: yaml.MappingNode, key: Key) -> Iterator[tuple[str, yaml.Node]]:
        """Each key once; one that is no plain word, or stands twice, is a mistake."""
        seen: set[str] = set()
        for name_node, value in node.value:
            line, column = name_node.start_mark.line + 1, name_node.start_mark.column + 1
            name = name_node.value
            if not isinstance(name, str):
                self.sheet.mistakes.append(
                    Mistake(
                        self.sheet.name,
                        line,
                        column,
                        dotted(key),
                        "a key must be a plain word, not a list or group",
                    )
                )
            elif name in seen:
                first = self.sheet.where[(*key, name)][0]
                self.sheet.mistakes.append(
                    Mistake(
                        self.sheet.name,
                        line,
                        column,
                        dotted((*key, name)),
                        f"given twice (first at line {first}); delete one of the two",
                    )
                )
            else:
                seen.add(name)
                self.sheet.where[(*key, name)] = (line, column)
                yield name, value

    def _item(self, node: yaml.Node, key: Key) -> object:
        self.sheet.where[key] = (node.start_mark.line + 1, node.start_mark.column + 1)
        return self.build(node, key)
