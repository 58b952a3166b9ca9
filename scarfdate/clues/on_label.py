"""What hangs on a label: clues that are there only where there is a label, and where it shows them.

A look whose row in ``checks.csv`` rules out states of the label (``not_where``: "label none-seen") is a look at the
label, and what it looks for is on labels in the other states. How often such a label shows it, ``label_shown.csv``
says of the mark with the name of the family; what has no rows there, as how the label is made, is on all of them.

A label is of another piece with all that is read off it, so that the label clue takes such words in (`OffLabel`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.shares import SharesClue
from scarfdate.clues.shares_field import LABEL
from scarfdate.conventions import Array
from scarfdate.reading.observation import Observation
from scarfdate.tables.priors import Priors

Look = tuple[str, str]  # family and method
Read = tuple[tuple[str, Observation], ...]  # families, and the words that were read off the label
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


class OffLabel:
    """The words of other families that are read off one label, each with the slips that are its own.

    A slip of such a family is a label of another piece, as often as ``altered`` of ``slips.csv`` says, or another word
    that was misread or miswritten; only that is left here. A family on which something is measured stays by itself.
    """

    def __init__(self, priors: Priors, years: NDArray[np.int64]) -> None:
        self.priors, self.years = priors, years
        measured_on = {family.parent for family in priors.families.values()}
        self.methods = {
            name: method for name, method in hung_on_label(priors) if name not in measured_on
        }
        self._clues: dict[str, SharesClue] = {}

    def read(self, seen: Mapping[str, Any]) -> Read:
        """What was noted of them, by family what was seen."""
        found = ((name, seen.get(name), method) for name, method in self.methods.items())
        return tuple((name, o) for name, o, method in found if o is not None and o.method == method)

    def clue(self, name: str) -> SharesClue:
        """The clue of a family, made when it is first asked for: most pieces have no label."""
        if name not in self._clues:
            own = self.priors.slips[name] * (1 - self.priors.altered[name])
            self._clues[name] = SharesClue(self.priors, name, self.years, own)
        return self._clues[name]

    def likelihood(self, read: Read, of: Mapping[str, Array]) -> Array:
        """P(all words | market, grade, year), (markets or 1, grades, years); ``of``: what stands in place of that of some."""
        found: Array = np.ones((1, 1, 1))
        for name, seen in read:
            found = found * (of[name] if name in of else self.clue(name).likelihood((seen, ())))
        return found
