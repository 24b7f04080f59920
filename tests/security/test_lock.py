"""Nothing is installed but what the lock names by its hash: a swapped file is refused.

Hash-checking mode: pip's own documentation, "Secure installs"; the wheel here is made in the test.
"""

import base64
import hashlib
import os
import re
import shutil
import subprocess
import sys
import tomllib
import venv
import zipfile
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
LOCK = (ROOT / "deploy" / "requirements.lock").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def blocks() -> dict[str, str]:
    found = re.split(r"^(?=[a-z0-9][a-z0-9._-]*==)", LOCK, flags=re.MULTILINE)
    return {block.split("==")[0]: block for block in found if block.strip()}


def pick(extras: str) -> str:
    done = subprocess.run(
        [sys.executable, ROOT / "deploy" / "lock.py", "pick", extras],
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


def test_every_package_is_pinned_with_hashes() -> None:
    assert len(blocks()) > 60
    for name, block in blocks().items():
        assert re.match(rf"{re.escape(name)}==[0-9][^ ;]*( ;[^\\]*)? \\\n", block), name
        assert re.findall(r"--hash=sha256:[0-9a-f]{64}", block), name
        assert "# for: " in block, name
    assert "--hash" not in re.sub(r"--hash=sha256:[0-9a-f]{64}", "", LOCK)


@pytest.mark.parametrize("extra", ["", *PROJECT["optional-dependencies"]])
def test_the_lock_holds_what_pyproject_asks_for(extra: str) -> None:
    asked = [*PROJECT["dependencies"], *PROJECT["optional-dependencies"].get(extra, [])]
    given = {
        canonicalize_name(line.split("==")[0]): line.split("==")[1].split()[0]
        for line in pick(extra).splitlines()
        if "==" in line and not line.startswith(" ")
    }
    for requirement in map(Requirement, asked):
        if requirement.name != "gillhouse":
            version = given.get(canonicalize_name(requirement.name))
            assert version is not None, f"{requirement.name}: run python3 deploy/lock.py make"
            assert requirement.specifier.contains(version), requirement.name


def test_an_unknown_extra_is_refused() -> None:
    done = subprocess.run(
        [sys.executable, ROOT / "deploy" / "lock.py", "pick", "nonsense"], capture_output=True, text=True
    )
    assert done.returncode != 0
    assert "no such extra: nonsense" in done.stderr


def wheel(folder: Path, word: str) -> Path:
    """A wheel of one module that says `word` (the format: PEP 427)."""
    made = folder / "harmless-1.0-py3-none-any.whl"
    with zipfile.ZipFile(made, "w") as box:
        box.writestr("harmless.py", f"WORD = {word!r}\n")
        meta = "Metadata-Version: 2.1\nName: harmless\nVersion: 1.0\n"
        box.writestr("harmless-1.0.dist-info/METADATA", meta)
        tags = "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
        box.writestr("harmless-1.0.dist-info/WHEEL", tags)
        digest = base64.urlsafe_b64encode(hashlib.sha256(meta.encode()).digest()).rstrip(b"=").decode()
        box.writestr("harmless-1.0.dist-info/RECORD", f"harmless-1.0.dist-info/METADATA,sha256={digest},\n")
    return made


def test_a_swapped_file_is_refused_by_the_set_up_itself(tmp_path: Path) -> None:
    """deploy/setup.sh, as tests/run.sh and deploy/try.sh use it, with a lock of one package."""
    checkout, store = tmp_path / "checkout", tmp_path / "wheels"
    shutil.copytree(ROOT / "deploy", checkout / "deploy", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", checkout)
    store.mkdir()
    venv.create(tmp_path / "venv", with_pip=True)
    right_bytes = wheel(store, "harmless").read_bytes()
    digest = hashlib.sha256(right_bytes).hexdigest()
    lock = f"harmless==1.0 \\\n    --hash=sha256:{digest}\n    # for: build run\n"
    (checkout / "deploy" / "requirements.lock").write_text(lock)

    quiet = {"PIP_NO_INDEX": "1", "PIP_FIND_LINKS": str(store), "PIP_CONFIG_FILE": os.devnull}

    def install() -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            ["sh", "-euc", f'. deploy/setup.sh; pip_locked "{tmp_path}/venv" ""'],
            cwd=checkout, capture_output=True, text=True,
            env={**os.environ, **quiet},
        )  # fmt: skip

    wheel(store, "swapped")
    swapped = install()
    assert swapped.returncode != 0
    assert "DO NOT MATCH THE HASHES" in swapped.stderr
    (store / "harmless-1.0-py3-none-any.whl").write_bytes(right_bytes)
    right = install()
    assert right.returncode == 0, right.stderr
    said = [tmp_path / "venv" / "bin" / "python", "-c", "import harmless; print(harmless.WORD)"]
    assert subprocess.check_output(said, text=True) == "harmless\n"


def test_no_other_way_of_installing_is_left() -> None:
    """Every call of pip in our scripts asks for hashes, or fetches nothing."""
    for script in ("deploy/setup.sh", "deploy/install.sh", "deploy/try.sh", "tests/run.sh"):
        text = (ROOT / script).read_text(encoding="utf-8").replace("\\\n", " ")
        for line in text.splitlines():
            if "pip install" in line and not line.lstrip().startswith(("#", "say")):
                assert "--require-hashes" in line or "--no-index" in line, f"{script}: {line.strip()}"
