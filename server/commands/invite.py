"""`stillair invite`: a code that makes an account, or gives one another password, from the server's own console."""

from __future__ import annotations

from typing import Annotated

import typer

from server.commands.options import DataFolder

Role = Annotated[str, typer.Option("--role", help="advisor, engineer, lead or owner.")]
Renew = Annotated[
    str | None, typer.Option("--password-of", metavar="NAME", help="A code for another password of this account.")
]


def invite(role: Role = "engineer", password_of: Renew = None, data: DataFolder = None) -> None:
    """Print a code that opens once, within two days; also beside a running server.

    \b
    stillair invite --role lead               a new account
    stillair invite --password-of "Ana Silva"   who forgot the password

    Whoever can run this can read the archive's files anyway; it is the way back in when no owner can sign in.
    """
    from sqlalchemy import select

    from server.accounts.service import invite as make
    from server.accounts.service import name_key
    from server.accounts.tables import Account
    from server.archive.place import database_of
    from server.commands.web_server import make_data_folder
    from server.errors import StillairError
    from server.settings import load

    settings = load(data_folder=data)
    make_data_folder(settings)
    database = database_of(settings.data_folder)
    try:
        database.migrate()
        with database.writing() as session:
            account = None
            if password_of is not None:
                account = session.scalar(select(Account).where(Account.name_key == name_key(password_of)))
                if account is None:
                    raise StillairError(f"Nobody named {password_of} has an account.")
            made = make(session, account.role if account else role, account=account)
    finally:
        database.close()
    typer.echo(made.code)
    typer.echo(f"It opens once, until {made.ends_at:%d %b, %H:%M} UTC, on the page /invited of the server.")
