"""What hangs on a label: clues that are there only where there is a label, and where it shows them.

A look whose row in ``checks.csv`` rules out states of the label (``not_where``: "label none-seen") is a look at the
label, and what it looks for is on labels in the other states. How often such a label shows it, ``label_shown.csv``
says of the mark with the name of the family; what has no rows there, as how the label is made, is on all of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import Clue
from scarfdate.clues.label import LabelClue
from scarfdate.clues.shares import LABEL
from scarfdate.conventions import MARKETS, Array
from scarfdate.tables.priors import Priors

Look = tuple[str, str]  # family and method
_KEPT = ("hung on label",)


def hung_on_label(priors: Priors) -> Mapping[Look, NDArray[np.bool_]]:
    """The looks at a label, each with the states of the label, (values,), in which there is something to find."""
    kept = priors._compiled.get(_KEPT)
    if isinstance(kept, dict):
        return kept
    found: dict[Look, NDArray[np.bool_]] = {}
    values = priors.vocabulary.values.get(LABEL, ())
    for check in priors.checks if LABEL in priors.shares else ():
        # a parent word, as "removed", rules out a piece that is noted so, and no state by itself
        absent = {word for family, word in check.not_where if family == LABEL and word in values}
        family = priors.families[check.family]
        if absent and family.kind == "shares" and family.reads == "making" and family.name != LABEL:
            found[check.family, check.method] = np.array([v not in absent for v in values])
    priors._compiled[_KEPT] = found
    return found


def shown_on_label(clues: Iterable[Clue], mark: str) -> Array:
    """P(an intact label shows a mark | market, year), (markets, years or 1); one where no table says how often."""
    of_labels = next((clue for clue in clues if isinstance(clue, LabelClue)), None)
    return np.ones((len(MARKETS), 1)) if of_labels is None else of_labels.shown(mark)
