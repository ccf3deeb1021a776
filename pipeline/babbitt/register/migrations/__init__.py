"""Alembic migrations: how the register's database came to its present schema."""

HEAD = "0011"
"""The newest revision in versions/."""
