"""Runs migrations on the connection that `service.store.schema` hands over."""

from __future__ import annotations

from alembic import context

from service.store.columns import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
