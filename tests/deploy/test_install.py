"""The installer, into a root of its own: what it makes, the same twice, nothing in a dry run, all away again.

What needs a running service manager (the start, a failed start going back) is walked through by hand in a
booted root; see docs/how-to/install.md. The judge of the scripts is ShellCheck.
"""

import os
import shutil
import stat
import subprocess
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from servers import program

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
ANSWERS = (
    "--yes", "--farm", "Hill farm", "--zone", "Europe/Rome",
    "--crop", "shiitake", "--boards", "room,tent",
)  # fmt: skip


Install = Callable[..., str]


@pytest.fixture(scope="module")
def clone(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The source as it is now: who works on it meanwhile does not make another version of it."""
    folder = tmp_path_factory.mktemp("clone")
    for name in ("daemon", "config", "deploy", "docs", "README.md", "pyproject.toml"):
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / name, folder / name)
    return folder


@pytest.fixture(scope="module")
def install(clone: Path) -> Install:
    return partial(run_installer, clone)


def run_installer(clone: Path, *words: str, code: int = 0) -> str:
    """What the installer said."""
    done = subprocess.run(
        ["sh", str(clone / "deploy/install.sh"), *words],
        capture_output=True,
        text=True,
        timeout=170,
        check=False,
    )
    assert done.returncode == code, done.stdout + done.stderr
    return done.stdout + done.stderr


def everything(folder: Path) -> dict[str, tuple[int, bytes | str]]:
    """Every file's mode and content, every link's target; the environment itself left out."""
    found: dict[str, tuple[int, bytes | str]] = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if "/versions/" in f"/{name}/" or (path.is_dir() and not path.is_symlink()):
            continue
        mode = stat.S_IMODE(path.lstat().st_mode)
        found[name] = (mode, os.readlink(path) if path.is_symlink() else path.read_bytes())
    return found


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory, install: Install) -> Path:
    one = tmp_path_factory.mktemp("root")
    install("--root", str(one), *ANSWERS)
    return one


def inside(root: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """The installed program, run where it lies."""
    return subprocess.run(
        [str(root / "opt/gillhouse/current/bin/python"), "-m", "gillhouse", *words],
        capture_output=True, text=True, cwd=root, timeout=60, check=False,
    )  # fmt: skip


@pytest.mark.timeout(300)  # pip fetches what is needed, the first time
def test_what_was_installed_runs_on_the_config_it_wrote(root: Path) -> None:
    checked = inside(root, "check", "--config", str(root / "etc/gillhouse/farm.yaml"))
    assert checked.returncode == 0, checked.stderr
    assert "Farm: Hill farm, local time Europe/Rome" in checked.stdout
    assert "shiitake" in checked.stdout
    assert "127.0.0.1:1883" in checked.stdout
    state = str(root / "var/lib/gillhouse")
    ready = inside(root, "ready", "--config", str(root / "etc/gillhouse/farm.yaml"), "--state", state)
    assert "no journal" in ready.stdout


def test_its_programs_name_the_place_where_they_will_lie(root: Path) -> None:
    first = (root / "opt/gillhouse/current/bin/gillhouse").read_text().splitlines()[0]
    assert first.startswith("#!/opt/gillhouse/versions/")
    assert os.readlink(root / "usr/local/bin/gillhouse") == "/opt/gillhouse/current/bin/gillhouse"
    unit = (root / "etc/systemd/system/gillhouse.service").read_text()
    assert "ExecStart=/opt/gillhouse/current/bin/gillhouse run --config /etc/gillhouse/farm.yaml" in unit


@pytest.mark.parametrize(
    ("path", "mode"),
    [
        ("etc/gillhouse", 0o750),
        ("etc/gillhouse/farm.yaml", 0o640),
        ("etc/gillhouse/secrets", 0o700),
        ("etc/gillhouse/secrets/broker", 0o600),
        ("etc/gillhouse/ca", 0o700),
        ("etc/gillhouse/ca/ca.key", 0o600),
        ("etc/gillhouse/ca/board-room.password", 0o600),
        ("etc/mosquitto/gillhouse.passwd", 0o640),
        ("etc/mosquitto/gillhouse.acl", 0o640),
        ("etc/mosquitto/certs/gillhouse-server.key", 0o640),
        ("var/lib/gillhouse", 0o750),
        ("var/backups/gillhouse", 0o750),
        ("opt/gillhouse/deploy/install.sh", 0o755),
    ],
)
def test_nobody_may_read_or_write_more_than_needed(root: Path, path: str, mode: int) -> None:
    assert stat.S_IMODE((root / path).stat().st_mode) == mode


def test_no_secret_lies_open_and_none_is_the_same_twice(root: Path, tmp_path: Path, install: Install) -> None:
    """ETSI EN 303 645 provision 5.1: no universal default passwords."""
    secret = (root / "etc/gillhouse/secrets/broker").read_text().strip()
    assert len(secret) == 48
    kept = everything(root)
    open_to_all = [name for name, (mode, what) in kept.items()
                   if mode & 0o004 and isinstance(what, bytes) and secret.encode() in what]  # fmt: skip
    assert open_to_all == []
    for board in ("room", "tent"):
        assert f"{board}:$7$" in (root / "etc/mosquitto/gillhouse.passwd").read_text()
    other = tmp_path / "other"
    other.mkdir()
    versions = other / "opt/gillhouse/versions"  # built once is enough
    versions.parent.mkdir(parents=True)
    versions.symlink_to(root / "opt/gillhouse/versions")
    install("--root", str(other), *ANSWERS)
    assert (other / "etc/gillhouse/secrets/broker").read_text().strip() != secret


def test_run_again_it_changes_nothing(root: Path, install: Install) -> None:
    before = everything(root)
    told = install("--root", str(root), *ANSWERS)
    assert "is there already" in told
    assert "is yours and stays as it is" in told
    assert everything(root) == before


def test_what_a_person_changed_stays_and_ours_lies_beside(root: Path, install: Install) -> None:
    rights, farm = root / "etc/mosquitto/gillhouse.acl", root / "etc/gillhouse/farm.yaml"
    mine, config = rights.read_text(), farm.read_text()
    try:
        rights.write_text(f"{mine}user display\ntopic read farm/alerts/#\n")
        farm.write_text(config.replace("Hill farm", "Dale farm"))
        told = install("--root", str(root), *ANSWERS)
        assert "gillhouse.acl is not as we left it" in told
        assert "user display" in rights.read_text()
        assert (root / "etc/mosquitto/gillhouse.acl.new").read_text() == mine
        assert "Dale farm" in farm.read_text()
    finally:
        rights.write_text(mine)
        farm.write_text(config)
        (root / "etc/mosquitto/gillhouse.acl.new").unlink(missing_ok=True)


def test_an_upgrade_keeps_the_version_before_and_a_rollback_goes_to_it(root: Path, install: Install) -> None:
    """Another version stands in by name: a link to the one built, since another build would hold the same."""
    versions = root / "opt/gillhouse/versions"
    now = os.readlink(root / "opt/gillhouse/current")
    before = versions / "0.0.9-earlier"
    before.symlink_to(versions / Path(now).name)
    (root / "opt/gillhouse/current").unlink()
    (root / "opt/gillhouse/current").symlink_to("versions/0.0.9-earlier")
    told = install("--root", str(root), *ANSWERS)
    assert os.readlink(root / "opt/gillhouse/current") == now
    assert os.readlink(root / "opt/gillhouse/previous") == "versions/0.0.9-earlier"
    assert "remove version" not in told
    install("--root", str(root), "--rollback")
    assert os.readlink(root / "opt/gillhouse/current") == "versions/0.0.9-earlier"
    assert os.readlink(root / "opt/gillhouse/previous") == now
    install("--root", str(root), "--rollback")
    assert os.readlink(root / "opt/gillhouse/current") == now


def test_a_version_that_cannot_run_on_the_config_is_not_put_in_force(root: Path, install: Install) -> None:
    farm = root / "etc/gillhouse/farm.yaml"
    config = farm.read_text()
    now = os.readlink(root / "opt/gillhouse/current")
    (root / "opt/gillhouse/current").unlink()
    (root / "opt/gillhouse/current").symlink_to("versions/0.0.9-earlier")
    try:
        farm.write_text(config.replace("volume_m3", "volume_m4"))
        told = install("--root", str(root), *ANSWERS, code=2)
        assert "volume_m4" in told
        assert "is not put in force" in told
        assert os.readlink(root / "opt/gillhouse/current") == "versions/0.0.9-earlier"
    finally:
        farm.write_text(config)
        (root / "opt/gillhouse/current").unlink()
        (root / "opt/gillhouse/current").symlink_to(now)


@pytest.mark.parametrize("words", [(), ("--uninstall",), ("--uninstall", "--delete-data"), ("--rollback",)])
def test_a_dry_run_says_every_step_and_changes_nothing(
    root: Path, words: tuple[str, ...], install: Install
) -> None:
    before = everything(root)
    told = install("--root", str(root), "--dry-run", *(words or ANSWERS))
    assert everything(root) == before
    if words and words != ("--rollback",):
        assert "would: remove /opt/gillhouse" in told
        assert ("would: delete /var/lib/gillhouse" in told) == ("--delete-data" in words)


def test_a_dry_run_needs_no_root_and_no_folder(tmp_path: Path, install: Install) -> None:
    told = install("--root", str(tmp_path), "--dry-run", *ANSWERS)
    assert list(tmp_path.iterdir()) == []
    for step in ("folder /etc/gillhouse", "in an environment of its own", "an authority of your own",
                 "write /etc/systemd/system/gillhouse.service", "an account for the board tent"):  # fmt: skip
        assert f"would: {step}" in told or step in told
    assert "Nothing was changed." in told


def test_uninstalled_the_data_stay_until_told(root: Path, tmp_path: Path, install: Install) -> None:
    state = root / "var/lib/gillhouse"
    (state / "journal.db").write_bytes(b"years of nights")
    told = install("--root", str(root), "--uninstall")
    assert "Kept:" in told
    left = set(everything(root))
    assert not [name for name in left if name.startswith(("opt/", "etc/systemd", "usr/local"))]
    assert {"var/lib/gillhouse/journal.db", "etc/gillhouse/farm.yaml", "etc/gillhouse/secrets/broker"} <= left
    install("--root", str(root), "--uninstall", "--delete-data")
    assert not [name for name in everything(root) if "gillhouse" in name]


@pytest.mark.parametrize(
    "words",
    [
        ("--crop", "unicorn"),
        ("--zone", "Nowhere/Else"),
        ("--farm", 'a "quoted" farm'),
        ("--broker", "here; reboot"),
        ("--boards", "room$(id)"),
        ("--nonsense",),
        ("--farm",),
        ("--delete-data",),
        ("--root", "/no/such/place"),
    ],
)
def test_a_wrong_answer_is_said_and_nothing_begun(
    tmp_path: Path, words: tuple[str, ...], install: Install
) -> None:
    told = install("--root", str(tmp_path), "--yes", *words, code=2)
    assert "install:" in told
    assert list(tmp_path.iterdir()) == []


def test_the_scripts_are_clean_by_shellcheck() -> None:
    scripts = [*sorted(DEPLOY.glob("*.sh")), ROOT / "tests" / "run.sh"]
    done = subprocess.run(
        [program("shellcheck", "shellcheck"), "-x", *map(str, scripts)],
        capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout
    assert len(scripts) >= 6
