"""Database migrations.

A new one begins with ``alembic.command.revision(migration_config(connection), "WHAT CHANGES",
autogenerate=True, rev_id="0002")``, `migration_config` being that of
`tintladder.database.store.engine`; `HEAD` in `tintladder.database.store.schema` then names it.
"""
