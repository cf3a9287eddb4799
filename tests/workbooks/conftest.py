"""Where the tests of the workbooks find what they share: `lesson`, `prose` and `nbvalrun`."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
