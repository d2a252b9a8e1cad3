"""Runs migrations on the connection that the store hands over; there is no alembic.ini."""

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=context.config.attributes["metadata"],
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
