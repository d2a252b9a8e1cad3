"""An open studio database, read and written in whole transactions."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy.exc import DatabaseError, IntegrityError
from sqlalchemy.orm import Session as OrmSession

from ..common.files import clear
from .engine import open_engine, unusable
from .studio import Studio


def now() -> str:
    """Return the time in UTC, ISO 8601."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


class Subject:
    """What a studio keeps of one subject."""

    def __init__(self, database: Transactions) -> None:
        self._database = database


class Transactions:
    """A studio database. One thread at a time; any number of processes.

    Rows that its methods return are whole and stay readable after it is closed.
    """

    def __init__(self, studio: Studio, create: bool = True) -> None:
        self.studio = studio
        self._engine = open_engine(studio, create)
        clear(studio.folders)
        self._current: OrmSession | None = None
        self._reading: OrmSession | None = None

    @classmethod
    def open(cls, where: str | Path | Studio | None = None, create: bool = True) -> Self:
        """Open the studio of a folder (default: the current one) or of a database URL.

        An older database is migrated forward.

        Raises
        ------
        InputError
            Where there is no studio and `create` is False, or it can't be used.
        """
        return cls(where if isinstance(where, Studio) else Studio.at(where), create)

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()

    @contextmanager
    def transaction(self) -> Iterator[OrmSession]:
        """Everything written within is kept together, or not at all. May be nested."""
        if self._current is not None:
            yield self._current
            self._current.flush()
            return
        try:
            with (
                OrmSession(
                    self._engine.execution_options(write=True), expire_on_commit=False
                ) as session,
                session.begin(),
            ):
                # The writers' lock is taken now, not at the first statement: whatever is read
                # within, a file beside the database too, is of one moment.
                session.connection()
                self._current = session
                yield session
        except IntegrityError:
            raise
        except DatabaseError as error:
            raise unusable(self.studio, error.orig or error) from error
        finally:
            self._current = None

    @property
    def writing(self) -> bool:
        """Whether a transaction is under way, in which what was read may change."""
        return self._current is not None

    @contextmanager
    def snapshot(self) -> Iterator[OrmSession]:
        """Everything read within is of one moment. May be nested, also in a transaction."""
        there = self._current or self._reading
        if there is not None:
            yield there
            return
        try:
            with OrmSession(self._engine, expire_on_commit=False) as session:
                session.connection()
                self._reading = session
                yield session
        except DatabaseError as error:
            raise unusable(self.studio, error.orig or error) from error
        finally:
            self._reading = None
