"""The studio store: everything a studio keeps, a subject each."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from .cards import Cards
from .changing.changes import Changes
from .changing.removals import Removals
from .fits import Fits
from .habits import Dryings, Habits, Sent
from .imports import Imports
from .keys import Keys
from .paints import Paints
from .plates import Plates
from .readings import Readings
from .recipes import Recipes
from .scanners import Scanners
from .scans import Scans
from .studio import Studio
from .transactions import Transactions

if TYPE_CHECKING:
    from .sittings import Sittings


class Store(Transactions):
    """A studio's paints, cards, readings, fits and recipes.

    Opened by `Store.open`, best in a ``with``. Several additions, of one subject or of several, are
    kept together, or not at all, within ``with store.transaction():``.

    Attributes
    ----------
    paints : Paints
    cards : Cards
    readings : Readings
    scanners : Scanners
    scans : Scans
    imports : Imports
    fits : Fits
    recipes : Recipes
    plates : Plates
    habits : Habits
    dryings : Dryings
    sent : Sent
    changes : Changes
    removals : Removals
    keys : Keys
    sittings : Sittings
    """

    def __init__(self, studio: Studio, create: bool = True) -> None:
        super().__init__(studio, create)
        self.paints = Paints(self)
        self.cards = Cards(self)
        self.readings = Readings(self)
        self.scanners = Scanners(self)
        self.scans = Scans(self)
        self.imports = Imports(self)
        self.fits = Fits(self, self.paints)
        self.recipes = Recipes(self, self.paints, self.fits)
        self.plates = Plates(self)
        self.habits = Habits(self)
        self.dryings = Dryings(self)
        self.sent = Sent(self)
        self.changes = Changes(self)
        self.removals = Removals(self)
        self.keys = Keys(self)

    @cached_property
    def sittings(self) -> Sittings:
        """Sittings with an instrument; what speaks to one is loaded for them alone."""
        from .sittings import Sittings

        return Sittings(self, self.cards, self.readings, self.imports)
