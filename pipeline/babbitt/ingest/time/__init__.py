"""Time columns and clocks -> the time base of a run."""
