"""``python -m webcapture``."""

import sys

from webcapture.cli import main

sys.exit(main())
