"""What the tests share (`strategies`, `nullspace`) is imported by its plain name."""

import os
import sys
from pathlib import Path

from hypothesis import settings

sys.path.insert(0, str(Path(__file__).parent))

# Where a change is checked before it lands, the same examples are tried each time, so that what fails
# there fails for a reason in the change; everywhere else new ones are tried at every run.
settings.register_profile("landing", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("landing")
