"""gillhouse: listens to a mushroom grower's fruiting spaces, steers them, and tells the night."""

__version__ = "0.1.0"
