"""The records that the store tests use serve here too."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "store"))
