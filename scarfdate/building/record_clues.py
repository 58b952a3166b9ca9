"""The clues that museum records state, in the words of the vocabulary, and their likelihoods.

Fibre, weave and print technique come from the medium text, origin from the country of making, form from
the kind of object, sizes as stated. Coded columns of the records go before what is read here. What a
text does not state is left out: "silk" is no statement that the piece is not printed.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.building.clue_tables import FamilyLikelihood, RecordLikelihoods
from scarfdate.clues.shares import SharesClue
from scarfdate.columns.names import SCARF_LIKE
from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.errors import ScarfdateError, WordError
from scarfdate.model.model import Model
from scarfdate.reading.medium import read_medium
from scarfdate.reading.observation import read_observation
from scarfdate.records.arrays import Records, Words, alike
from scarfdate.records.cells import form_of
from scarfdate.tables.priors import Priors

if TYPE_CHECKING:
    import pandas

FROM_MEDIUM = ("fibre", "weave", "print_technique")
FAMILIES = (*FROM_MEDIUM, "origin", "form")  # what records of museums state
_ORIGIN, _FORM, _OTHER = "origin", "form", "other"
Cells = tuple[tuple[str, ...], NDArray[Any]]  # distinct cells, and which of them each record has
_SIZE_OF = {_FORM: "long_side"}  # what is measured on a family


@dataclass(frozen=True, kw_only=True)
class RecordClues:
    """The clues of n records: by family, the distinct cells and which of them each record has, (n,).

    A cell is a word, weights as JSON, or "". ``width_cm``, ``height_cm`` (n,): NaN where a side is
    missing or lies outside the family's limits. ``acquired`` (n,): the year in which the museum got it, 0
    where that is not known. ``unread``: countries and medium words that are not
    in the vocabulary, with the number of records.
    """

    cells: Mapping[str, Cells]
    width_cm: Array
    height_cm: Array
    acquired: NDArray[np.int32]
    unread: Counter[str]

    def frame(self, *, acquired: bool = False) -> pandas.DataFrame:
        """The clues as a frame for `date_table`, one row a record; ``acquired``: with the year of acquisition."""
        import pandas as pd

        columns: dict[str, object] = {
            family: np.array(cells, dtype=object)[which]
            for family, (cells, which) in self.cells.items()
        }
        columns |= {"width_cm": self.width_cm, "height_cm": self.height_cm}
        if acquired:
            columns["acquired"] = pd.Series(self.acquired, dtype="Int64").replace(0, pd.NA)
        return pd.DataFrame(columns)


def record_clues(records: Records, priors: Priors) -> RecordClues:
    """The clues of ``records``, every distinct text read once, in the words of ``priors``."""
    unread: Counter[str] = Counter()
    cells: dict[str, Cells] = {}
    medium = [read_medium(text, priors=priors) for text in records.medium_text.words]
    times = np.bincount(records.medium_text.codes, minlength=len(medium))
    for read, count in zip(medium, times.tolist(), strict=True):
        for word in read.unread:
            unread[word] += count
    for family in FROM_MEDIUM:
        distinct = tuple(_cell(read.clues.get(family)) for read in medium)
        cells[family] = (distinct, records.medium_text.codes)
    cells[_ORIGIN] = _of_words(records.country, priors, _ORIGIN, unread)
    cells[_FORM] = _forms(records, priors)
    for family, words in records.clues.items():
        cells[family] = (tuple(words.words), words.codes)
    width, height = (_usable(side, priors) for side in (records.width_cm, records.height_cm))
    both = ~np.isnan(width) & ~np.isnan(height)
    return RecordClues(
        cells=cells,
        width_cm=np.where(both, width, np.nan),
        height_cm=np.where(both, height, np.nan),
        acquired=records.acquired,
        unread=unread,
    )


def likelihoods(
    clues: RecordClues,
    records: Records,
    model: Model,
    dated: tuple[Array, NDArray[np.int32]],
    families: tuple[str, ...],
) -> RecordLikelihoods:
    """Their likelihoods; ``dated``: of `within`."""
    of_family: dict[str, FamilyLikelihood] = {}
    long = np.fmax(clues.width_cm, clues.height_cm)
    for family in families:
        clue = model.clues[model.column[family]]
        if not isinstance(clue, SharesClue):
            raise ScarfdateError(f"{family}: only families of kind shares are built from records")
        cells, which = clues.cells[family]
        table = np.ones((len(cells), len(clue.values)))
        for row, cell in enumerate(cells):
            seen = read_observation(model.priors, family, cell)
            if seen is not None:
                table[row] = clue.fits(seen)
        table, same = np.unique(table, axis=0, return_inverse=True)
        which = same.ravel().astype(np.int32)[which]
        size = _SIZE_OF.get(family)
        if size is None or np.isnan(long).all():
            of_family[family] = FamilyLikelihood(fits=table, which=which)
            continue
        of = model.priors.families[size]
        # measured on the scale on which a measurement is read, so that many records are alike
        place = np.where(np.isnan(long), -1, np.rint(np.log(long) / np.log(of.step)))
        place = place.astype(np.int32)
        first, pair = alike([which, place])
        log = np.where(place[first] < 0, np.nan, place[first] * np.log(of.step))
        of_family[family] = FamilyLikelihood(
            fits=table[which[first]],
            which=pair.astype(np.int32),
            log=log,
            slip=model.priors.slips[size],
            width=float(np.log(of.high / of.low)),
            least=float(np.log(model.priors.allowances["size_spread"])),
        )
    table, when = dated
    return RecordLikelihoods(dated=table, when=when, weight=records.weight, families=of_family)


def within(records: Records, last_year: int) -> tuple[Array, NDArray[np.int32]]:
    """P(date as stated | year) of dates taken as bare intervals, 0 or 1: the distinct ones (d, years), and which
    of them each record has, (n,)."""
    years = np.arange(FIRST_YEAR, last_year + 1)
    first = np.maximum(records.first, FIRST_YEAR).astype(np.int64)
    last = np.clip(records.last, FIRST_YEAR, last_year)
    width = int(max(first.max(), last.max())) + 1
    distinct, when = np.unique(first * width + last, return_inverse=True)
    when = when.astype(np.int32)
    inside = (years >= distinct[:, None] // width) & (years <= distinct[:, None] % width)
    return np.asarray(inside, dtype=float), when


def _cell(clue: object) -> str:
    if clue is None or isinstance(clue, str):
        return clue or ""
    return json.dumps(dict(clue))  # type: ignore[call-overload]


def _of_words(words: Words, priors: Priors, family: str, unread: Counter[str]) -> Cells:
    """Words as the vocabulary has them; a country that it does not know is "other", if it has that."""
    times = np.bincount(words.codes, minlength=len(words.words)).tolist()
    other = _OTHER if _OTHER in priors.vocabulary.values[family] else ""
    cells = []
    for word, count in zip(words.words, times, strict=True):
        try:
            cells.append(priors.vocabulary.canonical(family, word) if word else "")
        except WordError:
            cells.append(other)
            unread[word] += count
    return tuple(cells), words.codes


def _forms(records: Records, priors: Priors) -> Cells:
    """The form that a kind of object names: of a textile "other", of a plain scarf none."""
    first, _ = alike([records.object_type.codes, records.kind.codes])
    kinds = zip(
        records.object_type.codes[first].tolist(), records.kind.codes[first].tolist(), strict=True
    )
    other = _OTHER if _OTHER in priors.vocabulary.values[_FORM] else ""
    width = len(records.kind.words)
    forms = [""] * (len(records.object_type.words) * width)
    for name, kind in kinds:
        form = other
        if records.kind.words[kind] == SCARF_LIKE:
            form = form_of(priors, records.object_type.words[name])
        forms[name * width + kind] = form
    return tuple(forms), records.object_type.codes * width + records.kind.codes


def _usable(side: Array, priors: Priors) -> Array:
    long = priors.families["long_side"]
    return np.where((side >= long.low) & (side <= long.high), side, np.nan)
