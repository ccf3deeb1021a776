"""The logs of tests/ingest are what is damaged here."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "ingest"))
