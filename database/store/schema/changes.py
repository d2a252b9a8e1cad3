"""The table of what was taken out of use, renamed or edited, and what it was before."""

# Annotations stand as they are, not as text: each text would be compiled anew at every start.

from typing import Any

from sqlalchemy.orm import Mapped

from .base import Base


class Change(Base):
    """One change that can be taken back for a day; its row stays, so that it can be traced."""

    __tablename__ = "changes"

    done: Mapped[str]
    kind: Mapped[str]
    """What it is of: a tube, card, recipe, batch, device or paper."""
    words: Mapped[str]
    hidden: Mapped[dict[str, Any]]
    """Ids of rows that no list, fit or mix takes from now on, by table. The rows stay."""
    edited: Mapped[list[Any]]
    """Rows that were changed: table, id, and some of their columns before and after."""
    undone: Mapped[str | None]
