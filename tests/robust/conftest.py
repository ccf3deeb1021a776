"""Lets these tests use what those of the command line, of exchange and of the register have."""

import sys
from pathlib import Path

sys.path += [str(Path(__file__).parents[1] / name) for name in ("cli", "exchange", "register")]
