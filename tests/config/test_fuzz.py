"""Whatever stands in the file, `load_files` gives a config or a ConfigError, and nothing else."""

import re

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gillhouse.config import load_files, shipped_dir
from gillhouse.errors import ConfigError

FARM = (shipped_dir() / "farm.yaml").read_text(encoding="utf-8")
SPECIES = (shipped_dir() / "species" / "grey-oyster.yaml").read_text(encoding="utf-8")
WORDS = sorted(set(re.findall(r"[\w/{}:.%-]+", FARM)))
ODD = [
    "",
    "null",
    "[]",
    "{}",
    "-1",
    "1e999",
    ".nan",
    "&a x",
    "*a",
    "!!int x",
    "'",
    '"',
    "\t",
    "- - -",
    "? :",
    "\ud800",
]
PIECE = st.one_of(st.sampled_from(WORDS), st.sampled_from(ODD), st.text(max_size=8), st.integers().map(str))


def only_config_error(farm: str, species: str | None = None) -> None:
    files = (
        {"farm.yaml": farm} if species is None else {"farm.yaml": farm, "species/grey-oyster.yaml": species}
    )
    try:
        load_files(files)
    except ConfigError as error:
        assert error.mistakes
        assert all(re.match(r"[^:]+:\d+:\d+: ", mistake) for mistake in error.mistakes)


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet=st.characters(codec=None), max_size=200))
def test_any_text(text: str) -> None:
    only_config_error(text)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(st.integers(0, len(FARM) - 1), st.integers(0, 12), PIECE), min_size=1, max_size=3))
def test_shipped_farm_with_pieces_replaced(cuts: list[tuple[int, int, str]]) -> None:
    text = FARM
    for at, length, piece in cuts:
        text = text[:at] + piece + text[at + length :]
    only_config_error(text)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_values_swapped_for_others(data: st.DataObject) -> None:
    """Sound YAML of the wrong kind: the value of one key becomes something else."""
    places = [found.span(1) for found in re.finditer(r"\w+: ([^\s,{}\[\]#][^,{}\[\]#\n]*)", FARM)]
    start, end = data.draw(st.sampled_from(places))
    only_config_error(FARM[:start] + data.draw(PIECE) + FARM[end:])


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, len(SPECIES) - 1), st.integers(0, 12), PIECE)
def test_species_of_the_grower_with_a_piece_replaced(at: int, length: int, piece: str) -> None:
    farm = (
        "farm: {name: F, zone: UTC}\nspaces:\n  a: {name: A, kind: room, walk_in: yes, volume_m3: 9, "
        "crop: {species: grey-oyster, stage: fruiting, kg: 4}}\n"
    )
    only_config_error(farm, SPECIES[:at] + piece + SPECIES[at + length :])
