"""From a run and an engine spec to harmful events."""
