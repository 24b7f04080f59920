"""The wheel as a stranger gets it: built, put into an environment of its own, run in an empty directory.

From outside: pip builds and installs it, by the packaging standards (PEP 517, PEP 427). The dependencies are
lent from the environment the tests run in; `gillhouse` itself must come from the wheel alone.
"""

import os
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path
from zipfile import ZipFile

import pytest

ROOT = Path(__file__).parents[2]


def said(*words: str | Path, cwd: Path) -> str:
    """What it printed. A PYTHONPATH may lead to a checkout and is kept from it."""
    done = subprocess.run(
        [str(word) for word in words],
        cwd=cwd,
        env={
            name: value for name, value in os.environ.items() if name != "PYTHONPATH"
        },  # may lead to a checkout
        capture_output=True,
        text=True,
        timeout=50,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    said(sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", folder, ROOT, cwd=folder)
    (built,) = folder.glob("gillhouse-*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The `gillhouse` program of a fresh environment."""
    place = tmp_path_factory.mktemp("place") / "env"
    venv.create(place, with_pip=False)
    python = place / "bin" / "python"
    said(
        sys.executable, "-m", "pip", "--python", python, "install", "-q", "--no-deps", "--no-index", wheel,
        cwd=place,
    )  # fmt: skip
    (own,) = place.glob("lib/python*/site-packages")
    # A plain path line lends the libraries without running their .pth files, so without the checkout's own.
    (own / "lent.pth").write_text(sysconfig.get_paths()["purelib"] + "\n")
    where = said(python, "-c", "import gillhouse; print(gillhouse.__file__)", cwd=place).strip()
    assert Path(where).is_relative_to(own), "the checkout was imported, not the wheel"
    return place / "bin" / "gillhouse"


def test_it_carries_the_program_its_templates_and_the_shipped_config(wheel: Path) -> None:
    with ZipFile(wheel) as archive:
        held = {name for name in archive.namelist() if name.startswith("gillhouse/")}
    in_source = {
        f"gillhouse/{path.relative_to(ROOT / 'daemon' / 'gillhouse')}"
        for path in (ROOT / "daemon" / "gillhouse").rglob("*")
        if path.is_file() and path.suffix != ".pyc" and ".mypy_cache" not in path.parts
    }
    shipped = {
        f"gillhouse/shipped/{path.relative_to(ROOT / 'config')}" for path in (ROOT / "config").rglob("*.yaml")
    }
    assert "gillhouse/shipped/farm.yaml" in shipped
    assert "gillhouse/shipped/species/shiitake.yaml" in shipped
    assert in_source | shipped <= held


def test_help_and_check_work_in_an_empty_directory(installed: Path, tmp_path: Path) -> None:
    assert "Commands:" in said(installed, "--help", cwd=tmp_path)
    checked = said(installed, "check", cwd=tmp_path)
    assert "Hollow Lane mushrooms" in checked
    assert "shipped" in checked
    assert list(tmp_path.iterdir()) == [], "asking leaves nothing behind"


def test_the_trial_works_in_an_empty_directory(installed: Path, tmp_path: Path) -> None:
    told = said(installed, "demo", "--hours", "0.2", "--out", "trial", cwd=tmp_path)
    assert "SIMULATED" in told
    assert [path.name for path in tmp_path.iterdir()] == ["trial"]
    left = {path.name for path in (tmp_path / "trial").iterdir()}
    assert {"night.html", "night.json", "night.txt", "farm.yaml", "journal.db", "truth.json"} <= left
    night = said(installed, "night", "--state", "trial", "--space", "tent", cwd=tmp_path)
    assert "TENT" in night
