"""Opens the studio's database and brings it to the present schema."""

from __future__ import annotations

import sqlite3
from itertools import count
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, make_url, text
from sqlalchemy.exc import DatabaseError

from ...calibrate.errors import InputError
from ..common.files import BUSY_SECONDS, copy_database
from ..common.remedies import StudioDo
from .schema import HEAD, Base
from .studio import Studio

_LOCK = 20260305
"""Any number: the name of the writers' lock in a shared database."""


def open_engine(studio: Studio, create: bool = True) -> Engine:
    """Open the database, made or migrated forward where that is due.

    Raises
    ------
    InputError
        Where there is none and `create` is False, where it can't be opened, is no studio, or was
        made by a newer version.
    """
    file = studio.database
    if file is not None and not file.exists():
        if not create:
            raise InputError(
                studio.folder,
                None,
                "there is no studio here yet",
                StudioDo.START_STUDIO(),
            )
        try:
            studio.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise unusable(studio, error) from error
    engine = _engine(studio)
    try:
        with engine.connect() as connection:
            version = _version(connection)
        if version != HEAD:
            _migrate(engine, studio, version)
    except DatabaseError as error:
        engine.dispose()
        raise unusable(studio, error.orig or error) from error
    except sqlite3.Error as error:
        engine.dispose()
        raise unusable(studio, error) from error
    except InputError:
        engine.dispose()
        raise
    return engine


def unusable(studio: Studio, error: BaseException) -> InputError:
    """Say in one line why the database can't be used."""
    return InputError(
        studio.database or "the shared database",
        None,
        f"the studio can't be used ({error})",
        "check that it is a studio, that the disk is writable and has room, and that no other "
        "program holds it",
    )


def _engine(studio: Studio) -> Engine:
    if studio.database is None:
        return _shared(studio.url)
    engine = create_engine(studio.url, connect_args={"timeout": BUSY_SECONDS})

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: Any) -> None:
        # The driver's own transactions leave table changes outside; ours begin in _begin.
        connection.isolation_level = None
        for pragma in ("journal_mode=WAL", "foreign_keys=ON", "synchronous=FULL"):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # A writer takes its lock at once: one that reads first and writes later may be refused.
        write = connection.get_execution_options().get("write", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")
        if not write:
            # What is read is of the moment of the first look, and that is now.
            connection.exec_driver_sql("SELECT 1 FROM sqlite_master LIMIT 1")

    return engine


def _shared(url: str) -> Engine:
    named = make_url(url)
    if named.drivername == "postgresql":
        named = named.set(drivername="postgresql+psycopg")
    try:
        engine = create_engine(named)
    except ModuleNotFoundError as error:
        raise InputError(
            "the shared database",
            None,
            f"needs a package that isn't installed ({error.name})",
            "install it with: pip install 'tintladder[shared]'",
        ) from error

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # One writer at a time, as SQLite has it: so one publisher, and no number given twice.
        if connection.get_execution_options().get("write", False):
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")
        else:
            # Or else each look would be of a moment of its own.
            connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
            connection.exec_driver_sql("SELECT 1")

    return engine


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def migration_config(connection: Connection | None = None) -> Any:
    """Alembic's settings, with the migrations that are packed here."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    config.attributes["metadata"] = Base.metadata
    return config


def _migrate(engine: Engine, studio: Studio, version: str | None) -> None:
    from alembic import command
    from alembic.script import ScriptDirectory

    known = {
        script.revision
        for script in ScriptDirectory.from_config(migration_config()).walk_revisions()
    }
    if version is not None and version not in known:
        raise InputError(
            studio.database or "the shared database",
            None,
            f"this studio was made by a newer tintladder (its schema is {version}, ours {HEAD})",
            StudioDo.UPDATE(),
        )
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        # Another process may have been here first: only now does the lock hold.
        version = _version(connection)
        if version is not None and version != HEAD and studio.database is not None:
            copy_database(studio.database, _unused(studio.database, version))
        command.upgrade(migration_config(connection), "head")


def _unused(database: Path, version: str) -> Path:
    """Return a name for the copy that is kept before a migration."""
    for number in count(1):
        more = f"-{number}" if number > 1 else ""
        name = database.with_name(f"{database.stem}-before-migration-{version}{more}.db")
        if not name.exists():
            return name
    raise AssertionError("unreachable")
