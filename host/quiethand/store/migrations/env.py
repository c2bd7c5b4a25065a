"""Alembic's way in: migrations run on the connection, and inside the transaction, that `schema` hands over."""

from alembic import context

from quiethand.store import typed_tables  # its tables belong to the same metadata
from quiethand.store.tables import Base

assert typed_tables.TypedRow.metadata is Base.metadata
context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    transactional_ddl=True,  # SQLite can, once the driver's own BEGIN is off: a killed migration leaves the old schema
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
