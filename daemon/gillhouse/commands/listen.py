"""`gillhouse listen`: what the broker carries, and which relay is which. Needs no config beyond the broker.

Shows every topic with its latest value and what it seems to be; with `--write` it asks which space each board
belongs to and writes the lines for `farm.yaml`. With `--relays` it clicks each relay of a config for two
seconds and asks which one it was. Nothing is stored.
"""

import re
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import click

from gillhouse.clock import Box, SystemClock
from gillhouse.commands.options import config_option
from gillhouse.config import load
from gillhouse.core.edges import BrokerSettings
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason
from gillhouse.errors import GillhouseError
from gillhouse.mqtt import BrokerLink
from gillhouse.payloads.guess import Guess, looks_like
from gillhouse.payloads.message import Message
from gillhouse.relays import Relays
from gillhouse.relays.ports import Ports

CLICK_MS = 2_000
WAIT_MS = 10_000
"""How long the broker may take to answer."""


class Ear:
    """Everything heard so far, by topic."""

    def __init__(self, broker: BrokerSettings, topics: list[str]) -> None:
        self.clock = SystemClock()
        self.heard: dict[str, Message] = {}
        self._box: Box[Message | bool] = Box(self.clock)
        self.link = BrokerLink(
            replace(broker, client_id=f"{broker.client_id}-listen"),
            self.clock,
            lambda message, _synced: self._box.put(message),
            lambda up, _why: self._box.put(up),
        )
        self.link.subscribe(topics)
        self.link.start()

    def connect(self) -> None:
        """Waits for the broker.

        Raises:
            GillhouseError: it did not answer.
        """
        until = self.clock.now().mono_ms + WAIT_MS
        while not self.link.connected:
            if self._box.take(until) is None and self.clock.now().mono_ms >= until:
                where = f"{self.link.settings.host}:{self.link.settings.port}"
                raise GillhouseError(
                    f"no broker answers at {where}: is it running, and are the name and password right?"
                )

    def listen(self, for_ms: int) -> list[str]:
        """Listens; returns the topics heard, in the order they were first heard."""
        until = self.clock.now().mono_ms + for_ms
        while self.clock.now().mono_ms < until:
            item = self._box.take(until)
            if isinstance(item, Message):
                self.heard[item.topic] = item
                self.link.ack(item.token)
        return list(self.heard)


@click.command()
@click.option("--host", default=None, help="The broker. Default: the config's.")
@click.option("--port", type=int, default=None)
@click.option(
    "--for",
    "seconds",
    type=click.FloatRange(0.2, 3600),
    default=20.0,
    show_default=True,
    help="How many seconds to listen.",
)
@click.option("--write", is_flag=True, help="Ask which space each board is in; print lines for farm.yaml.")
@click.option("--relays", is_flag=True, help="Click each relay for two seconds. Disconnect all loads first.")
@config_option
def command(  # one argument an option
    host: str | None, port: int | None, seconds: float, write: bool, relays: bool, config_path: Path | None
) -> None:
    """What the broker carries: find your boards, try your relays.

    Example: gillhouse listen --write
    """
    config = load(config_path) if config_path else None
    broker = config.broker if config else BrokerSettings()
    broker = replace(broker, host=host or broker.host, port=port or broker.port)
    if relays and config is None:
        raise click.UsageError("--relays needs --config: the relays are listed there")
    ear = Ear(broker, ["#"])
    try:
        ear.connect()
        if relays and config is not None:
            wires = [replace(wire, advise_only=False) for wire in config.relay_wires.values()]
            _click_each(ear, Relays.wired(wires, Ports(ear.link.publish, ear.clock, lambda _: None)))
            return
        click.echo(f"listening to {broker.host}:{broker.port} for {seconds:g} s; breathe on a sensor ...")
        topics = ear.listen(int(seconds * 1000))
        found = _show(ear, [topic for topic in topics if not topic.startswith(f"{broker.base_topic}/")])
        if write:
            _write(found)
    finally:
        ear.link.stop()


def _show(ear: Ear, topics: Iterable[str]) -> list[tuple[str, Guess]]:
    """Prints what was heard; returns what may be readings."""
    found = []
    for topic in topics:
        payload = ear.heard[topic].payload
        guesses = looks_like(payload, topic)
        shown = payload[:60].decode("utf-8", "replace").encode("unicode_escape").decode("ascii")
        click.echo(f"{topic}  {shown}")
        for guess in guesses:
            what = guess.quantity.value if guess.quantity else "a number"
            where = f" at {guess.path}" if guess.path else ""
            click.echo(f"    {guess.shown} {guess.unit or ''} seems to be {what}{where} ({guess.format})")
            found.append((topic, guess))
    if not found:
        click.echo("nothing heard that looks like a reading: is the board on, and its broker address right?")
    return found


def _write(found: list[tuple[str, Guess]]) -> None:
    lines = ["sensors:"]
    for topic, guess in found:
        if guess.quantity is None:
            continue
        space = click.prompt(
            f"{topic} {guess.quantity.value}: which space? (empty: not mine)", default="", show_default=False
        )
        if space:
            lines += _entry(topic, guess, space)
    click.echo("\nFor your farm.yaml:\n")
    click.echo("\n".join(lines))


def _entry(topic: str, guess: Guess, space: str) -> list[str]:
    assert guess.quantity is not None
    ident = re.sub(r"[^a-z0-9]+", "-", f"{space}-{guess.quantity.value}".lower()).strip("-")
    lines = [
        f"  {ident}:",
        f"    space: {space}",
        f"    quantity: {guess.quantity.value}",
        f"    topic: {topic}",
        f"    format: {guess.format}",
    ]
    optional = {
        "path": guess.path,
        "unit": guess.unit,
        "senml_name": guess.senml_name,
        "time_path": guess.time_path,
        "seq_path": guess.seq_path,
        "words": f"[{', '.join(guess.words)}]" if guess.words else None,
    }
    lines += [f"    {key}: {value}" for key, value in optional.items() if value]
    return [*lines, "    every: 30s    # how often the board reports: set it right, silence is judged by it"]


def _click_each(ear: Ear, relays: Relays) -> None:
    click.echo("Every load must be disconnected: this moves relays. Mains work is for an electrician.")
    if not click.confirm("Are all loads disconnected?", default=False):
        click.echo("Nothing was moved.")
        return
    for ident in relays.drivers:
        on = Command(ident, True, CLICK_MS, Authority.OVERRIDE, Reason.OVERRIDE, (), {"who": "listen"})
        relays.apply(on, ear.clock.now())
        ear.listen(CLICK_MS)
        relays.apply(Command(ident, False, 0, Authority.OVERRIDE, Reason.RUN_ENDED), ear.clock.now())
        ear.listen(500)
        answer = click.prompt(
            f"{ident} was told on for 2 s. What did you hear? (it / another / off instead of on / nothing)",
            default="it",
        )
        click.echo(f"  {ident}: {answer}")
    relays.close(ear.clock.now())
    relays.start(ear.clock.now())
