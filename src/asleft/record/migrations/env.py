"""Runs the steps on the connection that the opener hands over, inside its transaction.

Not for use from a shell: there is no configuration file and no address here.
"""

from __future__ import annotations

from alembic import context

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=None,
    transactional_ddl=True,
)
context.run_migrations()
