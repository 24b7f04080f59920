"""gillhouse: listens to a mushroom grower's fruiting spaces, steers them, and tells the night."""

from datetime import date

__version__ = "0.1.0"

RELEASED = date(2026, 11, 25)
"""Of this version. A wall clock that shows an earlier day is not set (see `clock_trust`)."""
