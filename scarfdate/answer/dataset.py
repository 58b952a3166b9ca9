"""`date_dataset`: the whole posterior of a frame of scarves, as arrays with named dimensions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from scarfdate.answer.again import without_answers
from scarfdate.answer.blocks import Blocks
from scarfdate.answer.date import ANSWERS
from scarfdate.conventions import CHANNEL, GRADES, MARKETS
from scarfdate.errors import ScarfdateError
from scarfdate.model.posterior import posterior
from scarfdate.reading.frames import as_pandas
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.words import units

if TYPE_CHECKING:
    import xarray


def date_dataset(
    frame: Any,
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    as_of: int | None = None,
    unit: str | None = None,
    joint: bool = False,
) -> xarray.Dataset:
    """The posterior of every row of a frame, as a dataset of xarray.

    Arguments as those of `date_table`; what cannot be read is left out. ``joint``: whether grade and year
    are wanted together, too (3.5 kB a piece where the answer without takes 1.2).

    Returns a dataset with the dimensions ``piece`` (the frame's index, of pandas; else counted from 0),
    ``year`` (1880, which stands for all before it, to ``as_of``), ``grade`` and ``market``. Its variables,
    float64, chances from 0 to 1: ``year_probability`` (piece, year), ``grade_probability`` (piece, grade),
    ``market_probability`` (piece, market), ``revival_probability`` (piece), the chance of a later piece in
    an older look; ``log_evidence`` (piece), log P(all that was seen), natural; with ``joint``
    ``probability`` (piece, grade, year). Its attributes say channel, ``as_of`` and the hash of the priors.

    Raises ScarfdateError where xarray is not installed, and as `date_table`.
    """
    try:
        import xarray as xr
    except ImportError:
        raise ScarfdateError(
            "date_dataset needs xarray, which is not installed: pip install 'scarfdate[arrays]'"
        ) from None
    table = without_answers(as_pandas(frame), ANSWERS)
    known = checked_priors(priors)
    blocks = Blocks(table, known, channel, as_of, units.checked_unit(unit), strict=False)
    n, years = len(table), blocks.model.years
    sizes: dict[str, tuple[str, ...]] = {
        "year_probability": ("piece", "year"),
        "grade_probability": ("piece", "grade"),
        "market_probability": ("piece", "market"),
        "revival_probability": ("piece",),
        "log_evidence": ("piece",),
    }
    if joint:
        sizes["probability"] = ("piece", "grade", "year")
    length = {"piece": n, "year": len(years), "grade": len(GRADES), "market": len(MARKETS)}
    arrays = {name: np.empty([length[one] for one in over]) for name, over in sizes.items()}
    for part in blocks:
        found = posterior(part.model, part.codes, keep_joint=np.float64 if joint else None)
        values = (found.year, found.grade, found.market, found.revival, found.log_evidence)
        for array, value in zip(arrays.values(), values, strict=False):
            array[part.places] = value
        if found.joint is not None:
            arrays["probability"][part.places] = found.joint.reshape(-1, len(GRADES), len(years))
    return xr.Dataset(
        {name: (sizes[name], array) for name, array in arrays.items()},
        coords={
            "piece": table.index.to_numpy(),
            "year": years,
            "grade": list(GRADES),
            "market": list(MARKETS),
        },
        attrs={"channel": channel, "as_of": blocks.model.as_of, "priors_hash": known.hash},
    )
