"""Alembic migrations: how the register's database came to its present schema."""

HEAD = "0003"
"""The newest revision in versions/."""
