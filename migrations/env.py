"""How Alembic runs here: on the connection that the archive hands over, in batch mode for SQLite.

PostgreSQL's columns are made to hold and sort what SQLite's do, after whatever migrations ran.
"""

from pathlib import Path

from alembic import context

import server.accounts.tables
import server.archive.tables
import server.days.tables
import server.results.tables
import server.uploads.tables  # noqa: F401
from server.archive.database import Base
from server.archive.place import database_of
from server.archive.sqlite_file import BEGIN_OPTION
from server.locations import default_data_folder


def run(connection) -> None:
    """All steps in one transaction, which SQLite can as well: a program that is killed leaves the version before."""
    context.configure(
        connection=connection, target_metadata=Base.metadata, render_as_batch=True, transactional_ddl=True
    )
    with context.begin_transaction():
        context.run_migrations()
        if connection.dialect.name == "postgresql":
            from server.archive.postgres import settle_columns

            settle_columns(connection)


def run_from_command_line() -> None:
    """`alembic …` in a clone: -x data=FOLDER names the data folder, else the usual one."""
    folder = Path(context.get_x_argument(as_dictionary=True).get("data", default_data_folder()))
    folder.mkdir(parents=True, exist_ok=True)
    with database_of(folder).engine.execution_options(**{BEGIN_OPTION: "IMMEDIATE"}).connect() as connection:
        run(connection)
        connection.commit()


if context.config.attributes.get("connection") is not None:
    run(context.config.attributes["connection"])
else:
    run_from_command_line()
