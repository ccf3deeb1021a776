"""Bytes of a log -> rows of cells."""
