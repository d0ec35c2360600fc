"""Brings a database of records up to this version's tables, one recorded step after another.

The steps are in `migrations/versions/`, one file each, applied by Alembic inside the caller's
transaction: after a crash the database is at the old step or the new one.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from alembic.config import Config
from alembic.runtime.environment import EnvironmentContext
from alembic.script import ScriptDirectory
from alembic.util.exc import CommandError

from underlid.errors import UnderlidError

MIGRATIONS: Final = Path(__file__).parent / "migrations"


def migrate(connection: sa.Connection) -> None:
    """Apply the steps that the database behind *connection* has not seen."""
    with _environment() as environment:
        environment.configure(connection=connection, transactional_ddl=True)
        try:
            environment.run_migrations()
        except CommandError as error:
            raise UnderlidError(
                "database of records",
                value=str(error),
                expected="tables made by this version or an earlier one",
                next_step="Start the version that made them, or restore a backup.",
            ) from None


def migration_sql(dialect_name: str) -> str:
    """Return the SQL of all steps for a dialect, without a database: to read and to check."""
    import io

    text = io.StringIO()
    with _environment(as_sql=True) as environment:
        environment.configure(dialect_name=dialect_name, output_buffer=text, literal_binds=True)
        environment.run_migrations()
    return text.getvalue()


def _environment(*, as_sql: bool = False) -> EnvironmentContext:
    """Return Alembic's environment for an upgrade to the newest step."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    script = ScriptDirectory.from_config(config)

    def steps(revision: Any, _context: object) -> Any:
        return script._upgrade_revs("head", revision)

    return EnvironmentContext(config, script, fn=steps, as_sql=as_sql, destination_rev="head")
