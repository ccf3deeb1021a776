"""The outlook: what an engine's next runs may bring, and what to do about it."""
