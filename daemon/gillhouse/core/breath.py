"""How much CO2 a batch breathes out, by species and stage: the weakest figure of all, with its range.

What lives here: the table. What must not: balances (see `ventilation`, `sizing`). Readable sources give grams
of CO2 per kilogram of substrate for button mushrooms only; the others are estimated from ratios in abstracts,
and say so. A measuring run, or the log, replaces them by the space's own figure.
"""

from dataclasses import dataclass

from gillhouse.core.crops import Stage

Q10 = 2.5
"""Growth of breath for 10 K. Growers' texts say +20 % a kelvin over a short range (which would be 6); 2 to 5
is what is usual for respiration. An estimate."""


@dataclass(frozen=True, slots=True)
class Breath:
    """CO2 per kilogram of substrate and hour."""

    low: float
    """g/(kg h)"""
    likely: float
    high: float
    at_c: float
    """Temperature these are for."""
    source: str
    sure: str
    """How sure, in a few words."""

    def grams_per_h(self, kg: float, temperature_c: float) -> tuple[float, float, float]:
        """Low, likely, high for `kg` of substrate at `temperature_c`, g/h."""
        warm = kg * Q10 ** ((temperature_c - self.at_c) / 10.0)
        return self.low * warm, self.likely * warm, self.high * warm


_HANDBOOK = "a cultivation handbook quoted on a Chinese growers' board, 2010 (trade text, no method given)"
_RATIO = "Meilleur, Bastien and Monfet, Sustainability 15(24):16740, 2023 (abstract)"

_BUTTON = {
    Stage.SPAWN_RUN: Breath(0.06, 0.09, 0.13, 25.0, f"9 g/h per 100 kg compost: {_HANDBOOK}", "trade text"),
    Stage.FRUITING: Breath(
        0.03, 0.045, 0.06, 16.0, f"3 to 6 g/h per 100 kg compost: {_HANDBOOK}", "trade text"
    ),
}
_SHIITAKE = {
    Stage.SPAWN_RUN: Breath(
        0.015, 0.04, 0.09, 16.0, "estimated: as button compost, brought to 16 C",
        "a guess within a factor of two",
    ),
    Stage.FRUITING: Breath(
        0.02, 0.045, 0.09, 16.0, f"estimated: as button compost; its heat is small ({_RATIO})",
        "a guess within a factor of two",
    ),
}  # fmt: skip
_OYSTER = {
    Stage.SPAWN_RUN: Breath(
        0.03, 0.08, 0.18, 16.0, f"estimated: twice shiitake in spawn run ({_RATIO})",
        "a guess within a factor of two",
    ),
    Stage.FRUITING: Breath(
        0.08, 0.17, 0.30, 16.0, f"estimated: up to five times shiitake in fruiting ({_RATIO})",
        "a guess within a factor of two",
    ),
}  # fmt: skip
_OTHER = {
    Stage.FRUITING: Breath(
        0.03, 0.09, 0.30, 16.0, "estimated: between button compost and oyster; no readable source",
        "a guess within a factor of three",
    ),
}  # fmt: skip

_BY_WORD: tuple[tuple[str, dict[Stage, Breath]], ...] = (
    # A word in the species' id -> its figures; what a group lacks is taken as for fruiting. First match
    # counts.
    ("button", _BUTTON), ("agaricus", _BUTTON), ("king-oyster", _OTHER), ("oyster", _OYSTER),
    ("shiitake", _SHIITAKE), ("", _OTHER),
)  # fmt: skip


def breath(species: str, stage: Stage) -> Breath:
    """The figures for a species (by its id) at a stage."""
    group = next(own for word, own in _BY_WORD if word in species)
    return group.get(stage, group[Stage.FRUITING])


def given(grams_per_h: float, kg: float, at_c: float, source: str) -> Breath:
    """A figure somebody measured or names, as one per kilogram."""
    rate = grams_per_h / max(kg, 1e-9)
    return Breath(rate, rate, rate, at_c, source, "as sure as it was measured")
