"""Fits in the studio database: each run a row, and of each paint and model the current one."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import asdict, replace
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, select, update

from ...calibrate.errors import InputError
from ...calibrate.fit.problem.result import JointFit, PaintFit
from ...calibrate.fit.problem.tube import Tube
from ...calibrate.optics.coefficients import TWO_FLUX, Coefficients, check_alike
from ...calibrate.optics.transport import TRANSPORT
from ..common.made_with import made_with
from ..common.remedies import StudioDo
from ..mixing import model_choice
from ..mixing.model_choice import Trial
from . import schema
from .fit_rows import (
    check_row,
    current_of,
    kept_paint_fit,
    named_inputs,
    packed_coefficients,
    paint_fit,
    paint_fit_row,
    reasons,
    set_aside,
    strength_reference,
)
from .in_use import tried
from .lots import of_one_lot
from .packing import (
    pack_coefficients,
    pack_table,
    unpack_coefficients,
    unpack_table,
)
from .paints import Paints
from .readings import StoredReadings
from .scans import StoredChannels
from .transactions import Transactions, now

if TYPE_CHECKING:
    import pandas as pd

    from ...calibrate.fit.judging.quality_report import QualityReport


_TRIAL = "trial"
_NAMED_AT_ONCE = 100
"""Paints that a query names at most; of more all are asked for."""


class Fits:
    """Fits, their checks, and the coefficients in use."""

    def __init__(self, database: Transactions, paints: Paints) -> None:
        self._database = database
        self._paints = paints

    def record(
        self,
        fit: JointFit,
        inputs: Sequence[StoredReadings | StoredChannels],
        tubes: Mapping[str, Tube] | None = None,
        known: Coefficients | None = None,
        quality: Mapping[str, QualityReport] | None = None,
        by_scan: Mapping[str, Any] | None = None,
    ) -> int:
        """Keep a run, make it the current fit of its paints, and return its number.

        Earlier runs stay as they are. A run by two fluxes leaves its paints no current fit by
        another model: that of the same readings comes after it.

        Parameters
        ----------
        inputs : sequence of StoredReadings or of StoredChannels
            What it was fitted to, mixtures that it learnt from marked as such.
        tubes : mapping of nickname to Tube, optional
            The tubes that it took; default: those that the cards were painted from.
        known : Coefficients, optional
            What new tubes were fitted against.
        quality : mapping of nickname to QualityReport, optional
            Its figures are kept with the fit.
        by_scan : mapping, optional
            Of a fit to scans: ``calibration``, the number of the device's characterisation, and
            ``prior``, the measured paints that scanned ones were believed to be like.
        """
        weighed = dict.fromkeys(paint for item in inputs for paint in item.card.paints)
        taken = tubes or self._paints.tubes(of_one_lot(self._paints.all(), inputs).lots)
        packed = pack_coefficients(fit.coefficients)
        with self._database.transaction() as session:
            row = schema.Fit(
                created=now(),
                code_version=version("tintladder"),
                made_with=made_with(),
                settings=dict(fit.settings),
                inputs=named_inputs(inputs)
                | {
                    "by_scan": None if by_scan is None else dict(by_scan),
                    "tubes": [
                        asdict(tube) for nickname, tube in taken.items() if nickname in weighed
                    ],
                    "known": None if known is None else self._named(known),
                    **reasons(fit),
                },
                coefficients=packed,
                coefficients_sha256=hashlib.sha256(packed).hexdigest(),
                nuisances=pack_table(fit.nuisances),
            )
            session.add(row)
            paints = {paint.nickname: paint for paint in self._paints.all(fit.paints)}
            model = fit.coefficients.model
            before = update(schema.PaintFit).where(
                schema.PaintFit.paint_id.in_([paints[nickname].id for nickname in fit.paints]),
                schema.CURRENT,
            )
            if model != TWO_FLUX:
                before = before.where(schema.PaintFit.model == model)
            session.execute(before.values(current=False))
            for nickname, each in fit.paints.items():
                paint = paints[nickname]
                report = (quality or {}).get(nickname)
                row.paint_fits.append(paint_fit_row(paint, taken[nickname].lot, each, report))
            session.flush()
            return row.id

    def _named(self, known: Coefficients) -> dict[str, Any]:
        """Name known coefficients so that they can be found again: by paint, fit and factor."""
        current = self.current(known.model, known.paints)
        return {
            "fits": {paint: current[paint] for paint in known.paints},
            "factors": list(known.factor_names),
            "own": known.own.shape[1],
        }

    def record_checks(self, fit: int, checks: pd.DataFrame) -> None:
        """Keep how far predictions lie from mixtures that the fit which made them never saw.

        Parameters
        ----------
        fit : int
            That fit; or the one that learnt from them, where each was left out of another.
        checks : DataFrame
            Columns card, step, over, de00, scan_error, as in
            `tintladder.calibrate.fit.uncertainty.check.Check`, and calibration, as
            `check_mixtures` says.
        """
        with self._database.transaction() as session:
            rows = checks.to_dict("records")
            named = select(schema.Card).where(schema.Card.name.in_({row["card"] for row in rows}))
            cards = {row.name: row for row in session.scalars(named)}
            session.add_all(check_row(fit, cards[row["card"]], row) for row in rows)

    def aside(self) -> dict[str, str]:
        """Why paints were set aside when they were fitted last, by nickname."""
        current = self.current()
        with self._database.snapshot() as session:
            return set_aside(session, current)

    def inputs(self) -> list[dict[str, Any]]:
        """Return what went into each fit that is current for some paint."""
        used = select(schema.PaintFit.fit_id).where(schema.CURRENT)
        query = select(schema.Fit.inputs).where(schema.Fit.id.in_(used)).order_by(schema.Fit.id)
        with self._database.snapshot() as session:
            return list(session.scalars(query))

    def judging_cards(self) -> set[int]:
        """Return the cards whose mixtures have judged a fit, by their numbers."""
        with self._database.snapshot() as session:
            return set(session.scalars(select(schema.Check.card_id).distinct()))

    def current(
        self, model: str = TWO_FLUX, among: Collection[str] | None = None
    ) -> dict[str, int]:
        """Return the number of each fitted paint's current fit by a model, by nickname.

        Of every paint, or of those `among` some alone. Every fitted paint has one by two fluxes.
        """
        query = (
            select(schema.Paint.nickname, schema.PaintFit.fit_id)
            .join(schema.PaintFit)
            .where(schema.CURRENT, schema.PaintFit.model == model)
            .order_by(schema.Paint.nickname_key)
        )
        if among is not None and len(among) <= _NAMED_AT_ONCE:
            named = select(schema.Paint.id).where(schema.Paint.nickname.in_(among))
            query = query.where(schema.PaintFit.paint_id.in_(named))
        with self._database.snapshot() as session:
            return {
                nickname: fit
                for nickname, fit in session.execute(query)
                if among is None or nickname in among
            }

    def day(self, fits: Collection[int]) -> str:
        """Return the day, UTC, that the last of some fits was made on; empty without any."""
        with self._database.snapshot() as session:
            made = session.scalar(
                select(func.max(schema.Fit.created)).where(schema.Fit.id.in_(fits))
            )
            return "" if made is None else str(made)[:10]

    def trial(self) -> Trial:
        """How far off the models of a studio's fits in use were where every one was tried.

        Several parts of an answer ask for it: it is worked out once while only reading.
        """
        with self._database.snapshot() as session:
            if self._database.writing:
                return tried(session)
            if _TRIAL not in session.info:
                session.info[_TRIAL] = tried(session)
            found: Trial = session.info[_TRIAL]
            return found

    def model_for(self, paints: Iterable[str]) -> str:
        """Return the model that counts most for mixes of some paints; see `shares`."""
        return next(iter(self.shares(paints)))

    def shares(self, paints: Iterable[str]) -> dict[str, float]:
        """Return what each model counts for in mixes of some paints; see `shares_of`."""
        with self._database.snapshot():
            wanted = list(paints)
            by_transport = self.current(TRANSPORT, wanted)
            return model_choice.shares_of(wanted, by_transport, self.trial())

    def model_words(self, coefficients: Coefficients, asked: bool = False) -> str:
        """Say which model these coefficients are of, and why not another, unless it was asked."""
        with self._database.snapshot():
            by_transport, trial = self.current(TRANSPORT), self.trial()
        c = coefficients
        return model_choice.words(c.model, c.paints, by_transport, trial, asked, c.share)

    def coefficients(
        self, paints: Iterable[str] | None = None, model: str | None = None
    ) -> Coefficients:
        """Return K and S in use, of the given nicknames (default: of all fitted), in that order.

        By the model that is given; or else by that which came nearer where both were tried, and by
        the other beside it where neither came clearly nearer.

        Raises
        ------
        InputError
            Where a paint has no fit, or their fits can't be used together.
        """
        wanted = list(self.current() if paints is None else dict.fromkeys(paints))
        with self._database.snapshot():
            shares = {model: 1.0} if model else self.shares(wanted)
            made = [Coefficients.concat(self.parts(wanted, each)).select(wanted) for each in shares]
        if len(made) == 1:
            return made[0]
        return replace(made[0], share=next(iter(shares.values())), beside=made[1])

    def parts(
        self, paints: Iterable[str] | None = None, model: str | None = None
    ) -> list[Coefficients]:
        """Return the same, fit by fit: nothing is as large as all fits together.

        Raises
        ------
        InputError
            As `coefficients`.
        """
        with self._database.snapshot() as session:
            wanted = list(self.current() if paints is None else dict.fromkeys(paints))
            current = self.current(model or self.model_for(wanted), wanted)
            for nickname in wanted:
                if nickname not in current:
                    self.of(nickname, TWO_FLUX)  # refuses a paint without one
                    raise model_choice.no_such_fit([nickname], str(model))
            if not wanted:
                raise InputError(
                    None, None, "no paint of this studio has a fit yet", StudioDo.FIT()
                )
            parts = []
            for fit in sorted({current[nickname] for nickname in wanted}):
                mine = [nickname for nickname in wanted if current[nickname] == fit]
                parts.append(unpack_coefficients(packed_coefficients(session, fit), fit, mine))
        check_alike(parts)
        return parts

    def settings(self, paints: Iterable[str], model: str) -> dict[str, Any]:
        """Return the settings of the fit that holds most of some paints' fits in use, by a model.

        Of several the newest; empty where none of them has one.
        """
        fits = Counter(self.current(model, set(paints)).values())
        if not fits:
            return {}
        with self._database.snapshot() as session:
            chosen = max(fits, key=lambda fit: (fits[fit], fit))
            of = select(schema.Fit.settings).where(schema.Fit.id == chosen)
            return dict(session.scalars(of).one())

    def measured(self) -> dict[str, int]:
        """Return the number of the current fit by two fluxes of each paint read by an instrument.

        Paints adopted from elsewhere are left out: here nothing was read of them.
        """
        current = self.current()
        query = select(schema.Fit.id, schema.Fit.inputs).where(schema.Fit.id.in_(current.values()))
        with self._database.snapshot() as session:
            read = {
                fit
                for fit, inputs in session.execute(query)
                if inputs["sessions"] and not inputs.get("adopted")
            }
        return {nickname: fit for nickname, fit in current.items() if fit in read}

    def scan_made(self) -> list[str]:
        """Nicknames of the paints whose numbers in use come from scans."""
        parts = self.parts(model=TWO_FLUX)
        return [
            paint
            for part in parts
            for paint, by_scan in zip(part.paints, part.scan_made, strict=True)
            if by_scan
        ]

    def of(self, paint: str, model: str | None = None) -> PaintFit:
        """Return the current fit of a paint, by nickname or part of a name.

        By the model that is given, or else that its mixes with its white are calculated by.

        Raises
        ------
        InputError
            Where there is no such paint, or it has no such fit.
        """
        with self._database.snapshot() as session:
            found = self._paints.find(paint)
            rows = session.scalars(
                select(schema.PaintFit).where(schema.PaintFit.paint_id == found.id, schema.CURRENT)
            )
            of_model = {row.model: row for row in rows}
            if TWO_FLUX not in of_model:
                raise _no_fit(found.nickname)
            row = of_model.get(model or self.model_for(of_model[TWO_FLUX].beside))
            if row is None:
                raise model_choice.no_such_fit([found.nickname], str(model))
            return kept_paint_fit(session, row)

    def row(self, paint: str, model: str) -> schema.PaintFit:
        """Return the current fit of a paint by a model as kept, by its nickname."""
        with self._database.snapshot() as session:
            found: schema.PaintFit = session.scalars(current_of(paint, model)).one()
            return found

    def strength_reference(self) -> str | None:
        """Nickname of the paint that the fits in use state tinting strength against, if any."""
        with self._database.snapshot() as session:
            return strength_reference(session)

    def lot_before(self, paint: str, lot: str, model: str = TWO_FLUX) -> PaintFit | None:
        """Return the current fit of a paint where it is of another lot than the one named."""
        with self._database.snapshot() as session:
            row: schema.PaintFit | None = session.scalar(current_of(paint, model))
            if row is None or row.lot is None or row.lot.lot == lot:
                return None
            return kept_paint_fit(session, row)

    def joint(self, fit: int) -> JointFit:
        """Return a run by its number, as it was recorded."""
        with self._database.snapshot() as session:
            row = session.get_one(schema.Fit, fit)
            coefficients = unpack_coefficients(row.coefficients)
            return JointFit(
                paints={p.paint.nickname: paint_fit(p, coefficients) for p in row.paint_fits},
                coefficients=coefficients,
                nuisances=unpack_table(row.nuisances),
                settings=row.settings,
            )


def _no_fit(nickname: str) -> InputError:
    return InputError(
        None,
        nickname,
        "has no fit yet",
        StudioDo.FIT_PAINT(paint=nickname),
    )
