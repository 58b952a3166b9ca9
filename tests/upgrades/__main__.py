"""``python -m tests.upgrades``: every format with its version, and what becomes of files of other versions, as a table."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pandas as pd

import scarfdate
from scarfdate.formats import ALL, PICKLE, PRIORS, RESULT, Format
from tests.figures import keep
from tests.upgrades import KEPT, old_priors

AS_OF = 2026
OLDER = {
    PRIORS: "of 5c52719: refused with what to do; `scarfdate upgrade-priors OLD NEW` makes a present one of it",
    RESULT: "of 5c52719: `Priors.behind` says whether these tables are behind it, and how to have it again",
    PICKLE: "of before 30 November 2026 (no version): read where it has all fields; older ones Python refuses",
}


def apart(priors: scarfdate.Priors | None) -> tuple[float, float]:
    """Median and largest total variation of chances of decades, beside those that 5c52719 gave."""
    stock = pd.read_csv(KEPT / "stock_5c52719.csv", dtype=object)
    then = pd.read_csv(KEPT / "decades_5c52719.csv").to_numpy()
    _, years = scarfdate.date_table(stock, priors=priors, as_of=AS_OF, with_years=True)
    found = np.abs(np.add.reduceat(years, range(0, years.shape[1], 10), axis=1) - then).sum(axis=1)
    return float(np.median(found) / 2), float(found.max() / 2)


def newer(form: Format) -> str:
    """What is said of a version that is not known yet."""
    try:
        form.checked(form.version + 1, "it")
    except scarfdate.ScarfdateError as refusal:
        return "refused: update scarfdate" if "update scarfdate" in str(refusal) else str(refusal)
    return "READ"


def main() -> None:
    """Prints and keeps the table."""
    rows = [
        [
            form.what,
            form.where,
            form.version,
            form.oldest,
            OLDER.get(form, "there is none"),
            newer(form),
        ]
        for form in ALL
    ]
    with tempfile.TemporaryDirectory() as folder:
        made = scarfdate.upgrade_priors(old_priors(Path(folder)), Path(folder) / "new")
        own, shipped = apart(made), apart(None)
    note = (
        "Thirty pieces dated with the upgraded folder of 5c52719, beside what 5c52719 itself said of them: total "
        f"variation of the chances of decades {own[0]:.4f} in the median, {own[1]:.3f} at most; with the tables of "
        f"today {shipped[0]:.4f} and {shipped[1]:.3f}."
    )
    for row in rows:
        print("; ".join(map(str, row)))
    print(note)
    keep(
        "upgrades",
        title="Formats and their versions",
        command="python -m tests.upgrades",
        columns=["what", "where its version stands", "version", "oldest read", "older", "newer"],
        rows=rows,
        notes=[note],
    )


if __name__ == "__main__":
    main()
