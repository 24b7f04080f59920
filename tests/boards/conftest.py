"""Makes the board's own modules importable, as they are on a board: `station` stands beside `main.py`."""

import sys
from pathlib import Path

BOARDS = Path(__file__).parents[2] / "deploy" / "boards"
sys.path.insert(0, str(BOARDS))
