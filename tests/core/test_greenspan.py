"""Humidity over salts against the printed table.

Source: L. Greenspan, "Humidity fixed points of binary saturated aqueous solutions", J. Res. NBS 81A:89
(1977), table values in percent relative humidity as quoted by public programs. The printed table cuts the
polynomial to two decimals, so it may be up to 0.01 below it.
"""

import pytest

from gillhouse.core.greenspan import LEAST_C, MOST_C, SALTS, humidity_pct

TABLE = {
    # salt: percent at 5, 10, 15, 20, 25, 30, 35 C
    "magnesium-chloride": (33.60, 33.47, 33.30, 33.07, 32.78, 32.44, 32.05),
    "sodium-chloride": (75.65, 75.67, 75.61, 75.47, 75.29, 75.09, 74.87),
    "potassium-chloride": (87.67, 86.77, 85.92, 85.11, 84.34, 83.62, 82.95),
    "potassium-sulfate": (98.48, 98.18, 97.89, 97.59, 97.30, 97.00, 96.71),
}


@pytest.mark.parametrize("salt", SALTS)
def test_the_printed_table(salt: str) -> None:
    for step, printed in enumerate(TABLE[salt]):
        assert humidity_pct(salt, 5.0 + 5 * step) == pytest.approx(printed, abs=0.011), (salt, 5 + 5 * step)


@pytest.mark.parametrize(
    ("salt", "temperature", "word"),
    [("sugar", 20.0, "sodium-chloride"), ("sodium-chloride", LEAST_C - 0.1, "indoors"),
     ("sodium-chloride", MOST_C + 0.1, "indoors"), ("sodium-chloride", float("nan"), "indoors")],
)  # fmt: skip
def test_what_it_cannot_say_it_refuses_with_a_way_out(salt: str, temperature: float, word: str) -> None:
    with pytest.raises(ValueError, match=word):
        humidity_pct(salt, temperature)
