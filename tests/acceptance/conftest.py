"""One trial night for all: 12 hours, seed 1, made once per test session."""

import pytest

from acceptance.nights import Lived, live


@pytest.fixture(scope="session")
def night(tmp_path_factory: pytest.TempPathFactory) -> Lived:
    return live(tmp_path_factory.mktemp("night"), 12.0)
