"""The humidity over a saturated salt: a fixed point any kitchen can make, to check a sensor against.

What lives here: which salts, the humidity each holds by temperature, how sure that is, how long a sensor
needs over it. What must not: a sensor, a correction (see `calibration`). Polynomials: L. Greenspan, "Humidity
fixed points of binary saturated aqueous solutions", J. Res. NBS 81A:89 (1977), read from two independent
public programs that cite it (potassium sulfate from one of them only).
"""

from dataclasses import dataclass
from typing import Final

LEAST_C: Final = 5.0
MOST_C: Final = 35.0
"""Where the polynomials are used here, which is less than they were fitted over. A jar indoors stands between
the two."""


@dataclass(frozen=True, slots=True)
class Salt:
    """One salt, as a person must know it."""

    name: str
    coefficients: tuple[float, ...]
    """Of 1, T, T^2 ...: percent relative humidity by degrees Celsius."""
    error_pct: float
    """The largest uncertainty the printed table gives for 10 to 30 C. From memory of that table."""
    least_wait_min: int
    """A sensor stays in the closed jar at least so long. Common practice: an hour for a capped sensor,
    several near 98 %."""
    caution: str


SALTS: Final[dict[str, Salt]] = {
    "magnesium-chloride": Salt(
        "magnesium chloride", (33.6686, -0.00797397, -0.00108988), 0.24, 60,
        "sold as a drying agent or in health shops; it must be plain, without scent or colour",
    ),
    "sodium-chloride": Salt(
        "table salt (sodium chloride)", (75.5164, 0.0398321, -0.00265459, 2.848e-5), 0.22, 60,
        "plain salt, without iodine or anti-caking agent",
    ),
    "potassium-chloride": Salt(
        "potassium chloride", (88.6190, -0.193340, 0.000899706), 0.39, 60,
        "sold pure for water softeners or laboratories; mixed 'diet salt' will not do",
    ),
    "potassium-sulfate": Salt(
        "potassium sulfate", (98.7792, -0.0590502), 0.76, 240,
        "sold as a fertiliser: take a pure, water-soluble one; do not eat it",
    ),
}  # fmt: skip


def humidity_pct(salt: str, temperature_c: float) -> float:
    """Relative humidity in the closed air over a wet slurry of the salt, percent.

    Args:
        salt: one of `SALTS`.
        temperature_c: of salt, air and sensor alike, `LEAST_C` to `MOST_C`.
    Raises:
        ValueError: another salt, or a temperature outside that range; it says what is possible.
    Source: Greenspan (1977), see the module.
    """
    if salt not in SALTS:
        raise ValueError(f"no fixed point is known for the salt {salt!r}; use one of {', '.join(SALTS)}")
    if not LEAST_C <= temperature_c <= MOST_C:
        raise ValueError(
            f"{temperature_c:g} C is outside {LEAST_C:g} to {MOST_C:g} C: bring jar and sensor indoors"
        )
    value = 0.0
    for coefficient in reversed(SALTS[salt].coefficients):
        value = value * temperature_c + coefficient
    return value
