"""A table is spared the sum for pieces in which nothing can be amiss, and misses none in which something is.

Pieces drawn from the tables, each with one clue of a piece of another time put in its place, in turn: whatever the
dating of the piece by itself finds more likely wrong than right, the table names too.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import pandas as pd

from scarfdate import Priors, Scarf, date_scarf, date_table, simulate

AS_OF = 2026
LABELS = (
    "www.quorvelle.example",
    "MADE IN CHINA\n100% POLYESTER\n[wash 30]",
    "IRISH FREE STATE\nALL SILK",
)


def out_of_place(priors: Priors) -> pd.DataFrame:
    drawn = simulate(priors, 400, np.random.default_rng(3), as_of=AS_OF, looked_at=1.0)
    pieces, truth = drawn.frame(), drawn.truth_frame()
    old = pieces[truth["year"].between(1895, 1930)].head(5)
    new = pieces[truth["year"] >= 1985].head(5)
    rows = []
    for here, there in ((old, new), (new, old)):
        for (_, piece), (_, other) in zip(here.iterrows(), there.iterrows(), strict=True):
            rows += [{**piece, column: other[column]} for column in pieces.columns]
            rows += [{**piece, "label": "intact", "label_text": text} for text in LABELS]
    table = pd.DataFrame(rows, dtype=object)
    table.loc[table["label"] == "none-seen", "label_make"] = None
    return table


def test_what_is_in_doubt_in_a_piece_is_in_doubt_in_its_table(priors: Priors) -> None:
    table = out_of_place(priors)
    told = date_table(table, as_of=AS_OF, columns=["doubt"])["doubt"]
    wrong = Counter[str]()
    for (_, row), doubt in zip(table.iterrows(), told, strict=True):
        found = date_scarf(
            Scarf.from_dict(row.dropna().to_dict(), priors=priors), as_of=AS_OF
        ).doubts
        wrong.update(one.clue for one in found)
        if found:
            assert isinstance(doubt, str), found[0].says
            assert found[0].seen in doubt
    # else some unit of evidence was never put to the test
    assert wrong.keys() >= {"fibre", "print_technique", "momme", "form", "label_text", "weave"}, (
        wrong
    )
    assert (told.isna() & True).sum() > len(table) / 10  # and not everything is in doubt


def test_a_table_of_one_piece_of_few_clues_misses_nothing(priors: Priors) -> None:
    """Whatever was not looked at, what comes after it is."""
    doubted = 0
    for place, (_, row) in enumerate(out_of_place(priors).iterrows()):
        few = row.dropna().iloc[place % 4 :: 2].to_dict()
        found = date_scarf(Scarf.from_dict(few, priors=priors), as_of=AS_OF).doubts
        if found:
            (doubt,) = date_table(pd.DataFrame([few]), as_of=AS_OF, columns=["doubt"])["doubt"]
            assert isinstance(doubt, str) and found[0].seen in doubt, found[0].says
            doubted += 1
    assert doubted > 10
