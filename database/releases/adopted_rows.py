"""The rows that an adopted release becomes: one fit, its paints, their lots and quality."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from ...calibrate.fit.judging.quality import LOOK_AT_STEP, LOOK_AT_STEP_BEFORE
from ...calibrate.fit.judging.quality_figures import STRENGTH, strength_of
from ...calibrate.optics.coefficients import TWO_FLUX, Coefficients
from ..store import schema
from ..store.in_use import retire
from ..store.packing import pack_coefficients, pack_table
from ..store.paint_names import nickname_key
from ..store.store import Store
from ..store.transactions import OrmSession, now
from .load import LoadedRelease
from .model_choice import steps_left_out


def record(
    store: Store,
    session: OrmSession,
    release: LoadedRelease,
    digest: str,
    coefficients: Coefficients,
    wanted: Mapping[str, str],
) -> int:
    """Keep the numbers as one fit, so that what its paints share stays shared."""
    tables, packed = release.tables, pack_coefficients(coefficients)
    theirs = tables["paints"].set_index("paint", drop=False)
    fits = tables["fits"][tables["fits"]["fit"].isin(theirs.loc[list(wanted), "fit"])]
    adopted = {
        "release": release.name,
        "version": release.version,
        "digest": digest,
        "paints": dict(wanted),
        "fits": [
            {**row, "settings": json.loads(row["settings"]), "inputs": json.loads(row["inputs"])}
            for row in fits[
                ["fit", "created", "code_version", "settings", "inputs", "coefficients_sha256"]
            ].to_dict("records")
        ],
    }
    row = schema.Fit(
        created=now(),
        code_version=str(fits["code_version"].iloc[0]),
        settings={},
        inputs={"sessions": [], "tubes": [], "known": None, "adopted": adopted},
        coefficients=packed,
        coefficients_sha256=hashlib.sha256(packed).hexdigest(),
        nuisances=pack_table(tables["nuisances"].iloc[:0].drop(columns="fit")),
    )
    session.add(row)
    known = {paint.nickname_key: paint for paint in store.paints.all()}
    patches = tables["patches"].iloc[:0].drop(columns=["fit", "paint"])
    left_out = steps_left_out(release)
    for paint, here in wanted.items():
        said: Any = theirs.loc[paint]
        mine = known.get(nickname_key(here)) or _new_paint(session, said, here)
        lot = next((lot for lot in mine.lots if lot.lot == said["lot"]), None)
        if lot is None:
            lot = schema.Lot(lot=said["lot"], on_hand=False, note=f"of {release.name}")
            mine.lots.append(lot)
        session.flush()
        retire(session, mine, None if coefficients.model == TWO_FLUX else coefficients.model)
        white = wanted.get(said["white"])
        row.paint_fits.append(
            schema.PaintFit(
                paint=mine,
                lot=lot,
                model=coefficients.model,
                current=True,
                beside=[mine.nickname, *([white] if white and white != here else [])],
                verdict=said["verdict"].replace(LOOK_AT_STEP_BEFORE, LOOK_AT_STEP),
                reasons=[reason for reason in str(said["reasons"]).split("; ") if reason],
                de00_mean=_number(said["de00_mean"]),
                de00_max=_number(said["de00_max"]),
                # Its patches are of cards that aren't here.
                patches=pack_table(patches),
                residuals=pack_table(pd.DataFrame(columns=_RESIDUALS)),
                quality=_quality_here(tables["quality"], paint, wanted),
                left_out=_number(left_out.get(paint, np.nan)),
            )
        )
    session.flush()
    return int(row.id)


_RESIDUALS = ["card", "patch", "wavelength", "measured", "fitted", "sigma"]


def _quality_here(quality: pd.DataFrame, paint: str, wanted: Mapping[str, str]) -> bytes | None:
    """Return what the release says of a paint's quality, paints named as here."""
    mine = quality[quality["paint"] == paint].drop(columns="model")
    if mine.empty:
        return None
    named = mine.assign(
        **{key: mine[key].map(lambda text: wanted.get(text, text)) for key in _NICKNAMES}
    )
    rows = [{str(key): x for key, x in row.items()} for row in named.to_dict("records")]
    said = [
        str(strength_of(row, {})) if row["quantity"] == STRENGTH else row["words"] for row in rows
    ]
    return pack_table(named.assign(words=said))


_NICKNAMES = ("paint", "against", "white")


def _new_paint(session: OrmSession, said: Any, here: str) -> schema.Paint:
    row = schema.Paint(
        nickname=here,
        nickname_key=nickname_key(here),
        name=said["name"],
        maker=said["maker"],
        range=said["range"],
        pigments=str(said["pigments"]).split(),
        binder=said["binder"],
        finish=said["finish"],
    )
    session.add(row)
    return row


def _number(value: float) -> float | None:
    return None if pd.isna(value) else float(value)
