"""From the bytes of a CSV log to a run."""
