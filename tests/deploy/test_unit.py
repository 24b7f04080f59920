"""The units as they ship: few rights, never given up on, the watchdog on, outputs off after every end.

The judge of the rights is systemd's own `systemd-analyze security --offline`: 0 is shut, 10 open; the gate is
1.6. Source: systemd-analyze(1) (the threshold is ten times the score), systemd.service(5), systemd.unit(5).
"""

import subprocess
import sys
from configparser import ConfigParser
from pathlib import Path

import pytest

from servers import program

DEPLOY = Path(__file__).parents[2] / "deploy"
GATE, GATE_WITH_DEVICES = "16", "20"
"""1.6 as --threshold wants it; a device of the machine and its group cost the rest."""
DAEMON, BACKUP = DEPLOY / "gillhouse.service", DEPLOY / "gillhouse-backup.service"
DROP_INS = (DEPLOY / "gillhouse-gpio.conf", DEPLOY / "gillhouse-serial.conf")


def analyze(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [program("systemd-analyze", "systemd"), *map(str, words)], capture_output=True, text=True, check=False
    )


def scored(unit: Path, threshold: str = GATE) -> subprocess.CompletedProcess[str]:
    return analyze("security", "--offline=true", f"--threshold={threshold}", "--no-pager", unit)


def directives(unit: Path) -> ConfigParser:
    parser = ConfigParser(strict=False, interpolation=None, delimiters=("=",), comment_prefixes=("#",))
    parser.optionxform = str  # type: ignore[assignment, method-assign]  # names keep their capitals
    parser.read(unit)
    return parser


@pytest.mark.parametrize("unit", [DAEMON, BACKUP], ids=lambda unit: unit.name)
def test_a_unit_may_touch_little(unit: Path) -> None:
    done = scored(unit)
    assert done.returncode == 0, done.stdout[-500:] + done.stderr
    assert "Overall exposure level" in done.stdout


@pytest.mark.parametrize("drop_in", DROP_INS, ids=lambda unit: unit.name)
def test_pins_or_a_serial_line_open_little_more(drop_in: Path, tmp_path: Path) -> None:
    whole = tmp_path / "gillhouse.service"
    whole.write_text(DAEMON.read_text() + drop_in.read_text())
    done = scored(whole, GATE_WITH_DEVICES)
    assert done.returncode == 0, done.stdout[-500:] + done.stderr


def test_the_gate_would_find_a_unit_that_may_touch_much(tmp_path: Path) -> None:
    bare = tmp_path / "bare.service"
    bare.write_text("[Service]\nExecStart=/bin/true\n")
    assert scored(bare).returncode != 0


@pytest.mark.parametrize("unit", [DAEMON, BACKUP], ids=lambda unit: unit.name)
def test_systemd_finds_no_fault_in_it(unit: Path, tmp_path: Path) -> None:
    here = Path(sys.executable).with_name("gillhouse")  # the installed program is not on this machine
    copy = tmp_path / unit.name
    copy.write_text(unit.read_text().replace("/opt/gillhouse/current/bin/gillhouse", str(here)))
    done = analyze("verify", copy)
    told = [line for line in done.stderr.splitlines() if unit.name in line]
    assert (done.returncode, told) == (0, []), done.stderr


def test_systemd_finds_no_fault_in_the_timer(tmp_path: Path) -> None:
    here = Path(sys.executable).with_name("gillhouse")
    service = BACKUP.read_text().replace("/opt/gillhouse/current/bin/gillhouse", str(here))
    (tmp_path / BACKUP.name).write_text(service)
    timer = tmp_path / "gillhouse-backup.timer"
    timer.write_text((DEPLOY / timer.name).read_text())
    done = analyze("verify", timer)
    assert (done.returncode, [line for line in done.stderr.splitlines() if timer.name in line]) == (0, [])


def test_the_daemon_is_watched_never_given_up_on_and_its_outputs_put_off() -> None:
    unit = directives(DAEMON)
    service = unit["Service"]
    assert service["Type"] == "notify"
    assert 10 <= int(service["WatchdogSec"]) <= 60
    assert service["Restart"] == "always"
    assert int(service["RestartSec"]) >= 1, "with no start limit, only the delay keeps it from spinning"
    assert unit["Unit"]["StartLimitIntervalSec"] == "0"
    safe = service["ExecStopPost"].split()
    assert safe[:2] == ["/opt/gillhouse/current/bin/gillhouse", "off"]
    assert float(safe[safe.index("--within") + 1]) < float(service["TimeoutStopSec"])
    assert service["User"] == "gillhouse"


def test_it_waits_for_no_network_and_no_clock_but_comes_after_them() -> None:
    unit = directives(DAEMON)["Unit"]
    assert {"network.target", "time-sync.target"} <= set(unit["After"].split())
    assert not set(unit) & {"Wants", "Requires", "Requisite", "BindsTo"}, "F16: it starts without any of them"


def test_it_may_ask_whether_the_clock_is_set() -> None:
    """ProtectClock= forbids adjtimex(2) along with setting the clock (systemd.exec(5)), and with it F13."""
    service = directives(DAEMON)["Service"]
    assert "ProtectClock" not in service
    assert service["CapabilityBoundingSet"] == "", "without a capability it can only ask"
    allowed = system_calls(DAEMON)
    assert {"adjtimex", "clock_adjtime"} <= allowed
    assert not {"clock_settime", "settimeofday", "mount", "setuid", "ptrace", "reboot"} & allowed
    assert {"openat", "fdatasync", "socket", "clone3", "flock"} <= allowed, "what any program of ours needs"


def members(name: str) -> set[str]:
    """The system calls of a set of systemd's, sets within it opened too."""
    if not name.startswith("@"):
        return {name}
    done = analyze("syscall-filter", "--no-pager", name)
    assert done.returncode == 0, done.stderr
    lines = [line.strip() for line in done.stdout.splitlines()[1:]]
    return {call for line in lines if line and not line.startswith("#") for call in members(line)}


def system_calls(unit: Path) -> set[str]:
    """What SystemCallFilter= leaves, line by line. Source: systemd.exec(5): the first line makes it a list of
    what is allowed, later ones add to it, or take away with `~`."""
    allowed: set[str] = set()
    for line in unit.read_text().splitlines():
        if line.startswith("SystemCallFilter="):
            words = line.removeprefix("SystemCallFilter=")
            named = {call for word in words.lstrip("~").split() for call in members(word)}
            allowed = allowed - named if words.startswith("~") else allowed | named
    return allowed
