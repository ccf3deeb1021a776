"""Running the migrations from the program, without an alembic.ini."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

_FOLDER = str(Path(__file__).parent)


def upgrade(connection: Connection, revision: str = "head") -> None:
    """Bring the database to a revision, the newest one, within the connection's transaction."""
    config = Config(attributes={"connection": connection})
    config.set_main_option("script_location", _FOLDER)
    command.upgrade(config, revision)


def known_revisions() -> frozenset[str]:
    """Return the revisions that this program can bring up to date."""
    scripts = ScriptDirectory(_FOLDER)
    return frozenset(script.revision for script in scripts.walk_revisions())
