"""The journal of changes, and undo."""
