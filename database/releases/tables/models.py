"""The tables of a release, model by model: that of its paints, and transport beside it.

Both models' numbers stand in the same tables, told apart by the column ``model``. Whoever reads a
release sees the tables of one model, as if there were no other.
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from ....calibrate.optics.transport import TRANSPORT

NUMBERS = ("coefficients", "covariance", "own", "shared", "factors")
_BY_MODEL = (*NUMBERS, "residuals", "quality")
_OF_FITS = ("fits", "nuisances", "patches", "checks")

Tables = Mapping[str, pd.DataFrame]


def main(tables: Tables) -> dict[str, pd.DataFrame]:
    """Return the tables of the model that ``paints.csv`` states."""
    kept = dict(tables)
    if "transport" not in tables or tables["transport"].empty:
        return kept
    for name in set(_BY_MODEL) & tables.keys():
        kept[name] = tables[name][tables[name]["model"] != TRANSPORT]
    of_transport = tables["transport"]["fit"]
    for name in set(_OF_FITS) & tables.keys():
        kept[name] = tables[name][~tables[name]["fit"].isin(of_transport)]
    return {name: table.reset_index(drop=True) for name, table in kept.items()}


def by_transport(tables: Tables) -> dict[str, pd.DataFrame] | None:
    """Return the tables of the same paints by transport; None where there are none."""
    if "transport" not in tables or tables["transport"].empty:
        return None
    said, kept = tables["transport"], dict(tables)
    for name in set(_BY_MODEL) & tables.keys():
        kept[name] = tables[name][tables[name]["model"] == TRANSPORT]
    for name in set(_OF_FITS) & tables.keys():
        kept[name] = tables[name][tables[name]["fit"].isin(said["fit"])]
    # Factors are numbered through, those of transport last.
    number = pd.Series(range(1, len(kept["shared"]) + 1), index=kept["shared"]["factor"])
    for name in ("shared", "factors"):
        kept[name] = kept[name].assign(factor=kept[name]["factor"].map(number).astype("int64"))
    paints = tables["paints"].drop(columns=said.columns.drop("paint"), errors="ignore")
    paints = paints.merge(said, on="paint").assign(model=TRANSPORT)
    # Releases made before any pigment crowded say nothing of it.
    own = said.columns.intersection(["crowding", "surface_offset"])
    kept["paints"] = paints[[*tables["paints"].columns, *own]]
    error = tables["wavelengths"]["transport_error"]
    kept["wavelengths"] = tables["wavelengths"].assign(model_error=error)
    return {name: table.reset_index(drop=True) for name, table in kept.items()}
