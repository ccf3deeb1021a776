"""The logs of tests/ingest are what is damaged here; a server is that of tests/register."""

import sys
from pathlib import Path

sys.path.extend(str(Path(__file__).parents[1] / name) for name in ("ingest", "register"))
