"""What holds for every test."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("steady", derandomize=True)
settings.register_profile("explore", max_examples=2_000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))
"""Every run of the suite tries the same examples; HYPOTHESIS_PROFILE=explore looks for new ones."""
