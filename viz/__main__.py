"""``python -m handlead.viz`` is the command ``handlead``."""

import sys

from .command import main

sys.exit(main())
