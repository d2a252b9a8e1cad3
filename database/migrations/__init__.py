"""Database migrations.

A new one begins with ``alembic.command.revision(migration_config(connection), "WHAT CHANGES",
autogenerate=True, rev_id="0002")``, `migration_config` being that of `tintladder.database.engine`;
`HEAD` in `tintladder.database.schema` then names it.
"""
