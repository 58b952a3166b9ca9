"""What museum records say in the words of the vocabulary: a frame to date, and chances to learn from.

Fibre, weave and print technique come from the medium text, origin from the country of making, form from
the kind of object, sizes as stated. Coded columns of the records go before what is read here. What a
text does not say is left out: "silk" has not said "not printed".
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.building.clue_tables import Noted, Said
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import FIRST_YEAR
from scarfdate.errors import ScarfdateError, WordError
from scarfdate.knots import Array
from scarfdate.model.model import Model
from scarfdate.reading.cells import read_observation
from scarfdate.reading.medium import read_medium
from scarfdate.records.museum import Records, Words
from scarfdate.tables.priors import Priors

if TYPE_CHECKING:
    import pandas

FROM_MEDIUM = ("fibre", "weave", "print_technique")
SCARF_LIKE = "scarf-like"  # the kind of object that this library dates
_ORIGIN, _FORM, _OTHER = "origin", "form", "other"
Cells = tuple[tuple[str, ...], NDArray[Any]]  # distinct cells, and which of them each record has
_SIZE_OF = {_FORM: "long_side"}  # what is measured on a family


@dataclass(frozen=True)
class Statements:
    """What each record says: by family, the place of each record's cell (n,) in the distinct cells.

    A cell is a word, weights as JSON, or "". ``long_side`` (n,) in cm, NaN where a side is missing or
    lies outside the family's limits. ``unread``: countries and medium words that nothing was made of,
    with the number of records.
    """

    cells: Mapping[str, Cells]
    width_cm: Array
    height_cm: Array
    unread: Counter[str]

    def frame(self) -> pandas.DataFrame:
        """The clues as a frame for `date_table`, one row a record."""
        import pandas as pd

        columns: dict[str, object] = {
            family: np.array(cells, dtype=object)[which]
            for family, (cells, which) in self.cells.items()
        }
        return pd.DataFrame(columns | {"width_cm": self.width_cm, "height_cm": self.height_cm})


def said(records: Records, priors: Priors) -> Statements:
    """Read every distinct text once."""
    unread: Counter[str] = Counter()
    cells: dict[str, Cells] = {}
    medium = [read_medium(text, priors=priors) for text in records.medium_text.words]
    times = np.bincount(records.medium_text.codes, minlength=len(medium))
    for read, records_with in zip(medium, times.tolist(), strict=True):
        for word in read.unread:
            unread[word] += records_with
    for family in FROM_MEDIUM:
        distinct = tuple(_cell(read.clues.get(family)) for read in medium)
        cells[family] = (distinct, records.medium_text.codes)
    cells[_ORIGIN] = _of_words(records.country, priors, _ORIGIN, unread)
    cells[_FORM] = _forms(records, priors)
    for family, words in records.clues.items():
        cells[family] = (tuple(words.words), words.codes)
    width, height = (_usable(side, priors) for side in (records.width_cm, records.height_cm))
    both = ~np.isnan(width) & ~np.isnan(height)
    return Statements(cells, np.where(both, width, np.nan), np.where(both, height, np.nan), unread)


def noted(
    what: Statements, records: Records, model: Model, dated: Array, families: tuple[str, ...]
) -> Noted:
    """What was said as chances: ``dated`` (n, years) is P(date as stated | year) of each record."""
    found: dict[str, Said] = {}
    long = np.fmax(what.width_cm, what.height_cm)
    for family in families:
        clue = model.clues[model.column[family]]
        if not isinstance(clue, SharesClue):
            raise ScarfdateError(f"{family}: only shares families are learned from records")
        cells, which = what.cells[family]
        table = np.ones((len(cells), len(clue.values)))
        for row, cell in enumerate(cells):
            seen = read_observation(model.priors, family, cell)
            if seen is not None:
                table[row] = clue.fits(seen)
        table, alike = np.unique(table, axis=0, return_inverse=True)
        which = alike.ravel()[which]
        size = _SIZE_OF.get(family)
        if size is None:
            found[family] = Said(table, which)
            continue
        of = model.priors.families[size]
        # measured on the scale on which a measurement is read, so that many records are alike
        place = np.where(np.isnan(long), -1, np.rint(np.log(long) / np.log(of.step)))
        pairs, back = np.unique(np.stack([which, place]), axis=1, return_inverse=True)
        log = np.where(pairs[1] < 0, np.nan, pairs[1] * np.log(of.step))
        found[family] = Said(
            table[pairs[0].astype(np.intp)],
            back.ravel(),
            log,
            model.priors.slips[size],
            float(np.log(of.high / of.low)),
        )
    return Noted(dated, records.weight, found)


def within(records: Records, last_year: int) -> Array:
    """P(date as stated | year) where a date says no more than its interval, (n, years): 0 or 1."""
    years = np.arange(FIRST_YEAR, last_year + 1)
    first = np.maximum(records.first, FIRST_YEAR)
    last = np.clip(records.last, FIRST_YEAR, last_year)
    inside = (years >= first[:, None]) & (years <= last[:, None])
    return np.asarray(inside, dtype=float)


def _cell(clue: object) -> str:
    if clue is None or isinstance(clue, str):
        return clue or ""
    return json.dumps(dict(clue))  # type: ignore[call-overload]


def _of_words(words: Words, priors: Priors, family: str, unread: Counter[str]) -> Cells:
    """Words as the vocabulary has them; a country that it does not know is another one."""
    times = np.bincount(words.codes, minlength=len(words.words)).tolist()
    found = []
    for word, records_with in zip(words.words, times, strict=True):
        try:
            found.append(priors.vocabulary.canonical(family, word) if word else "")
        except WordError:
            found.append(_OTHER)
            unread[word] += records_with
    return tuple(found), words.codes


def _forms(records: Records, priors: Priors) -> Cells:
    """The form that a kind of object names; a textile is no scarf, and a plain scarf has any form."""
    kinds = np.unique(np.stack([records.object_type.codes, records.kind.codes]), axis=1)
    width = len(records.kind.words)
    forms = [""] * (len(records.object_type.words) * width)
    for name, kind in kinds.T.tolist():
        form = _OTHER
        if records.kind.words[kind] == SCARF_LIKE:
            try:
                form = priors.vocabulary.canonical(_FORM, records.object_type.words[name])
            except WordError:
                form = ""
        forms[name * width + kind] = form
    return tuple(forms), records.object_type.codes * width + records.kind.codes


def _usable(side: Array, priors: Priors) -> Array:
    long = priors.families["long_side"]
    return np.where((side >= long.low) & (side <= long.high), side, np.nan)
