"""`sorting_table`: the sorting table in a notebook."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Any

from scarfdate.conventions import CHANNEL
from scarfdate.errors import needed
from scarfdate.sorting.sorting import Sorting
from scarfdate.tables.priors import Priors


def sorting_table(
    stock: str | Path = "stock.csv", *, priors: Priors | None = None, channel: str = CHANNEL,
    as_of: int | None = None, unit: str | None = None,
) -> Any:  # fmt: skip
    """A table to sort a pile at, as a widget: what was seen goes in by keys, each finished piece onto the sheet.

    ``stock``: the stock sheet, a CSV file, begun where it is not there; ``unit`` ("cm", "in"): of sizes typed without
    one; the others as of `date_scarf`. Without a notebook the same table is `Sorting`.

    Raises ScarfdateError as `Sorting` does; and where the extra ``notebooks`` is not installed, one that is an
    ImportError, too.
    """
    needed("anywidget", "notebooks", "the sorting table in a notebook")
    widget = import_module("scarfdate.sorting.widget")
    return widget.SortingTable(
        Sorting(stock, priors=priors, channel=channel, as_of=as_of, unit=unit)
    )
