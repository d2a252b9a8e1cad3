"""The keys that sign releases: this studio's own, and those of others as they were first seen."""

from __future__ import annotations

from secrets import token_hex

from sqlalchemy import select

from . import schema
from .transactions import Subject, now


class Keys(Subject):
    """Public keys in the studio database."""

    def of(self, studio: str) -> list[schema.Key]:
        """Return the keys that were seen to sign for a studio, the first one first."""
        query = select(schema.Key).where(schema.Key.studio == studio).order_by(schema.Key.id)
        with self._database.snapshot() as session:
            return list(session.scalars(query))

    def remember(self, studio: str, public: str, release: str) -> None:
        """Keep that a key signs for a studio; one that is known is left as it was."""
        with self._database.transaction() as session:
            if public not in {row.public for row in self.of(studio)}:
                row = schema.Key(
                    studio=studio, public=public, own=False, seen=now(), release=release
                )
                session.add(row)
                session.flush()

    def sign_with(self, public: str, release: str) -> str:
        """Keep this studio's own key, and return what its releases call the studio.

        That word is drawn once; a further key, where one was lost, signs for the same studio.
        """
        with self._database.transaction() as session:
            own = list(session.scalars(select(schema.Key).where(schema.Key.own)))
            studio = own[0].studio if own else token_hex(8)
            if public not in {row.public for row in own}:
                row = schema.Key(
                    studio=studio, public=public, own=True, seen=now(), release=release
                )
                session.add(row)
                session.flush()
            return studio
