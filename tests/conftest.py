"""What the tests share (`strategies`, `nullspace`) is imported by its plain name."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
