"""`gillhouse run`: listen, steer and log until stopped. SIGTERM ends it, SIGHUP re-reads the config whole."""

import gc
import logging
import os
import queue
import signal
import sys
import threading
from pathlib import Path

import click
import sdnotify

from gillhouse.clock import SystemClock
from gillhouse.commands.options import config_option, default_config, default_state, state_option
from gillhouse.config import load_apart
from gillhouse.config.torn import refuse_torn
from gillhouse.errors import ConfigError
from gillhouse.log_lines import LogLines
from gillhouse.resume import files_in_force
from gillhouse.service import Service, turning
from gillhouse.store import JOURNAL
from gillhouse.watchdog import Watchdog, period_ms

log = logging.getLogger("gillhouse")

COLLECT = (20_000, 10, 10)
"""Thresholds of the garbage collector. Rows wait for their commit by the hundred, and none is in a cycle:
with the usual 700 they would be walked for nothing at every few readings."""


@click.command()
@config_option
@state_option
def command(config_path: Path | None, state_dir: Path | None) -> None:
    """Listen, steer and log until stopped.

    Example: gillhouse run --config farm.yaml
    """
    handler = logging.StreamHandler()
    handler.setFormatter(LogLines())
    logging.basicConfig(level=logging.INFO, handlers=[handler])
    path = config_path or default_config()
    state = state_dir or default_state()
    config = load_apart(path)
    refuse_torn(config.files, files_in_force(state / JOURNAL))
    service = Service(config, state, SystemClock())
    sys.exit(_live(service, path))


def _live(service: Service, path: Path) -> int:
    """Runs until told to stop; returns the exit code."""
    signals: queue.SimpleQueue[int] = queue.SimpleQueue()
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        signal.signal(number, lambda got, _frame: signals.put(got))
    notify = sdnotify.SystemdNotifier()
    service.on_failure = lambda: signals.put(signal.SIGABRT)
    service.start()
    gc.freeze()  # what stands now stands for good: the collector need not walk it again and again
    gc.set_threshold(*COLLECT)
    log.info("running on %s, journal in %s", path, service.state_dir)
    notify.notify("READY=1")
    watchdog = _watched(service, notify)
    while (got := signals.get()) == signal.SIGHUP:
        _reload(service, path)
    if watchdog:
        watchdog.stop()
    notify.notify("STOPPING=1")
    log.info("stopping: every relay off")
    ending = threading.Timer(9.5, _die)
    ending.daemon = True
    ending.start()
    service.stop()
    return 1 if got == signal.SIGABRT else 0


def _watched(service: Service, notify: sdnotify.SystemdNotifier) -> Watchdog | None:
    """Feeds the service manager's watchdog, if it has one for us."""
    period = period_ms(os.environ, os.getpid())
    if period is None:
        return None
    watchdog = Watchdog(service.clock, turning(service), period, lambda: notify.notify("WATCHDOG=1"))
    watchdog.start()
    return watchdog


def _die() -> None:
    """A stop that hangs is ended by force: relays let go by themselves, the journal is whole up to here."""
    log.critical("stopping took too long")
    signal.raise_signal(signal.SIGKILL)


def _reload(service: Service, path: Path) -> None:
    try:
        config = load_apart(path)
        waits = service.reload(config)
    except ConfigError as error:
        log.error("config not re-read, the old one stays in force:")
        for mistake in error.mistakes:
            log.error("%s", mistake)
        service.config_refused("; ".join(str(mistake) for mistake in error.mistakes[:3]))
        return
    log.info("config re-read%s", f"; waits for a restart: {', '.join(waits)}" if waits else "")
