"""Run by Alembic: migrates within the transaction that `upgrade` has opened."""

from alembic import context

from batterymodel.store.tables import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
