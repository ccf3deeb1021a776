"""Run by Alembic around the migrations; the connection and its transaction are the caller's."""

from alembic import context

from babbitt.register.tables import part_models  # noqa: F401  adds its tables to the metadata
from babbitt.register.tables.models import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,  # SQLite alters a table only by making it anew
)
with context.begin_transaction():
    context.run_migrations()
