"""Alembic migrations: how the register's database came to its present schema."""

HEAD = "0012"
"""The newest revision in versions/."""
