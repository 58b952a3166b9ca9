"""A result owns what it needs: it says the same whatever is dated after it, copied, or pickled."""

from __future__ import annotations

import copy
import pickle
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

import scarfdate
from scarfdate import (
    Dating,
    Scarf,
    compare,
    compare_priors,
    conflict,
    date_scarf,
    date_table,
    dry_run,
    edges,
    explain,
    load_priors,
    next_checks,
    sensitivity,
    simulate,
    table_slopes,
)
from scarfdate.model import model as model_module

AS_OF = 2026
SEEN = {
    "fibre": "silk",
    "hem": "hand-rolled",
    "motif": "geometric",
    "width_cm": 90,
    "height_cm": 90,
}
LATER = {"fibre": "polyester", "hem": "overlocked", "label_text": "MADE IN CHINA 100% POLYESTER"}


def everything(dating: Dating) -> dict[str, Any]:
    return dating.to_dict() | {
        "text": str(dating),
        "html": dating._repr_html_(),
        "style_years": dating.style_years().tolist(),
        "says_little": dating.says_little,
    }


def fill_the_tables(monkeypatch: pytest.MonkeyPatch) -> None:
    """Date so many distinct observations that the tables of rows start again, more than once."""
    monkeypatch.setattr(model_module, "_ROWS_KEPT", 200)
    weights = np.linspace(0.2, 0.8, 900)
    cells = [f'{{"silk": {w:.6f}, "polyester": {1 - w:.6f}}}' for w in weights]
    for start in range(0, len(cells), 300):
        date_table(pd.DataFrame({"fibre": cells[start : start + 300]}), as_of=AS_OF)
    date_scarf({"hem": "machine-rolled", "fibre": "rayon"}, as_of=AS_OF)


def test_a_dating_keeps_its_story_after_a_full_table(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its row numbers once pointed into tables that others emptied and filled again."""
    kept = date_scarf(Scarf(**SEEN), as_of=AS_OF)
    same = everything(date_scarf(Scarf(**SEEN), as_of=AS_OF))
    other = date_scarf(Scarf(**LATER), as_of=AS_OF)
    beside = str(compare(kept, other))
    fill_the_tables(monkeypatch)
    assert everything(kept) == same
    assert str(compare(kept, other)) == beside


RESULTS: dict[str, Callable[[], Any]] = {
    "Dating": lambda: date_scarf(Scarf(**SEEN), as_of=AS_OF),
    "Comparison": lambda: compare(
        date_scarf(Scarf(**SEEN), as_of=AS_OF), date_scarf(Scarf(**LATER), as_of=AS_OF)
    ),
    "Explanation": lambda: explain(Scarf(**SEEN), as_of=AS_OF),
    "Drawing": lambda: scarfdate.draw(Scarf(**SEEN)),
    "Conflict": lambda: conflict(Scarf(**LATER), as_of=AS_OF, draws=20),
    "Sensitivity": lambda: sensitivity(Scarf(**SEEN), as_of=AS_OF),
    "Slopes": lambda: table_slopes(Scarf(**SEEN), as_of=AS_OF),
    "NextLooks": lambda: next_checks(Scarf(**SEEN), as_of=AS_OF),
    "Edge": lambda: edges(Scarf(**LATER), as_of=AS_OF)[0],
    "Edges": lambda: edges(Scarf(**LATER), as_of=AS_OF),
    "Simulated": lambda: simulate(load_priors(), 3, np.random.default_rng(1), as_of=AS_OF),
    "Scarf": lambda: Scarf(**LATER),
    "StockUnderstood": lambda: dry_run(pd.DataFrame([SEEN])),
    "WordList": lambda: load_priors().words("hem"),
    "TablesCompared": lambda: compare_priors(
        load_priors(), load_priors(), table=pd.DataFrame([SEEN]), as_of=AS_OF
    ),
}
COPIES: dict[str, Callable[[Any], Any]] = {
    "copied": copy.copy,
    "deep-copied": copy.deepcopy,
    "pickled": lambda result: pickle.loads(pickle.dumps(result)),
}


def said(result: Any) -> str:
    """All that a result says, to be compared."""
    if isinstance(result, Dating):
        return repr(everything(result))
    texts = [str(result), repr(result)]
    if hasattr(result, "to_frame"):
        texts.append(result.to_frame().to_csv())
    return "\n".join(texts)


@pytest.mark.sampled(18)
@pytest.mark.parametrize("how", COPIES)
@pytest.mark.parametrize("name", RESULTS)
def test_a_copy_says_the_same(name: str, how: str) -> None:
    result = RESULTS[name]()
    assert said(COPIES[how](result)) == said(result)


@pytest.mark.slow
def test_a_copy_says_the_same_after_a_full_table(monkeypatch: pytest.MonkeyPatch) -> None:
    kept = {name: pickle.dumps(make()) for name, make in RESULTS.items()}
    before = {name: said(make()) for name, make in RESULTS.items()}
    fill_the_tables(monkeypatch)
    for name, bytes_of in kept.items():
        assert said(pickle.loads(bytes_of)) == before[name], name


def test_every_kind_of_result_is_tried() -> None:
    """Those of learning, records, labels, building and worth have tests of their own in their rooms."""
    elsewhere = {
        "BeforeAfter", "Built", "Label", "Learned", "Medium", "PocketCard", "Priors", "Scores",
        "SoldRecords", "Understood", "FileFault", "Appraisal", "Book", "Condition", "Costs", "Fault", "Listing",
        "FileDated", "LotAppraisal", "Practice", "Prices", "Screen", "Shelf", "Sorting",
    }  # fmt: skip
    kinds = {
        name
        for name in scarfdate.__all__
        if name[0].isupper() and not issubclass(getattr(scarfdate, name), Exception)
    }
    assert kinds - elsewhere == set(RESULTS)
