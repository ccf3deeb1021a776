"""Columns of a log -> channels in canonical units."""
