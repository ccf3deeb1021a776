"""Teardown: what a builder writes down of an engine that is apart, as values."""
