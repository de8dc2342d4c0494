"""Read by Alembic: run the migrations on the connection that `upgrade` handed over, in its transaction."""

from alembic import context

from sealwright.ledger.schema import VERSION_TABLE, metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata,
                  version_table=VERSION_TABLE, transactional_ddl=True)
with context.begin_transaction():
    context.run_migrations()
