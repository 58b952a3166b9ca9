"""`build_priors`: the tables that records make, written into a priors folder with what stands behind them.

Written are, all or none:

    year_museum.csv                what museums record, by year and kind of object
    museum/shares, museum/measured what museums say of clues: the tables of the channel ``museum``
    museum/intervals.csv           binned dates that let anyone refit the densities
    museum/statements.csv          how museums state dates, by year
    museum/borrowed.csv            how much other textiles were found to say of scarves
    museum/compared.csv            expert, museum, trade and shipped rows side by side
    museum/disagreements.csv       where they, or the law, disagree, and which row is followed
    trade/                         trade descriptions, counted
    shares, measured               expert rows (``expert/``) with museum records and trade added
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from importlib.util import find_spec
from pathlib import Path
from types import MappingProxyType

import numpy as np

from scarfdate.building.clue_tables import ClueTables, Smoothing, chosen_smoothing, fit
from scarfdate.building.combined import Borrowing, borrowing
from scarfdate.building.disagreements import disagreement_table
from scarfdate.building.files import Made, built_files
from scarfdate.building.noted import SCARF_LIKE, Statements, noted, said, within
from scarfdate.building.trade import Trade, read_trade
from scarfdate.building.year import ALL, MuseumYears, museum_years
from scarfdate.errors import ScarfdateError, TableError
from scarfdate.files import write_whole
from scarfdate.model.model import Model
from scarfdate.records.museum import Records, folds, read_records
from scarfdate.tables.limits import LIMITS
from scarfdate.tables.priors import Priors, load_priors, shipped_folder
from scarfdate.years import checked_as_of

FAMILIES = ("fibre", "weave", "print_technique", "origin", "form")  # what museum records state
BORROWING = ("fibre", "weave", "print_technique")  # of these, other textiles may say something
EXPERT = "expert"  # the folder of rows written by people
_SEED = 7
_PARTS = 5  # for held-out choices


@dataclass(frozen=True)
class Built:
    """What records made: ``files`` by name, and what was learned on the way."""

    files: Mapping[str, bytes]
    records: Records
    years: MuseumYears
    clues: ClueTables
    smoothing: Smoothing
    borrowed: Mapping[str, Borrowing]
    trade: Trade | None
    said: Statements


def build_priors(
    paths: Sequence[Path | str],
    out: Path | str,
    *,
    columns: Path | str | None = None,
    trade: Path | str | None = None,
    licence: str = "",
    last_year: int = 2025,
    priors: Priors | None = None,
    say: Callable[[str], object] = lambda text: None,
) -> Built:
    """Build the tables that rest on records and write them into ``out``.

    ``paths``: record files, read with the column map ``columns`` (`read_records`). ``trade``: coded
    trade descriptions. ``licence``: said in every row. ``last_year``: of the grid of the tables.
    ``priors``: whose vocabulary, confusion and expert rows hold (the shipped ones). ``say`` is told
    each step. Raises TableError where nothing can be read, PriorsError for faulty priors.
    """
    known = priors or load_priors()
    last_year = checked_as_of(last_year)
    say("reading the records")
    records = read_records([Path(path) for path in paths], columns, priors=known)
    descriptions = None if trade is None else read_trade(trade, expert_view(known))
    built = built_from(
        records, known, trade=descriptions, licence=licence, last_year=last_year, say=say
    )
    folder = Path(out)
    try:
        # all folders first: what cannot be written is found out before anything is
        for name in built.files:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
        for name, content in built.files.items():
            write_whole(folder / name, content)
    except OSError as error:
        raise TableError(f"{out}: cannot be written ({error.strerror})") from None
    return built


def expert_view(priors: Priors) -> Priors:
    """The same priors with the rows as people wrote them, before any record was added."""
    own = priors.sets.get(EXPERT)
    if own is None:
        return priors
    return replace(
        priors,
        shares=MappingProxyType({**priors.shares, **own.shares}),
        measured=MappingProxyType({**priors.measured, **own.measured}),
    )


def built_from(
    records: Records,
    priors: Priors,
    *,
    trade: Trade | None = None,
    licence: str = "",
    last_year: int = 2025,
    smoothing: Smoothing | None = None,
    year_smoothings: Mapping[str, float] | None = None,
    borrowed: Mapping[str, Borrowing] | None = None,
    say: Callable[[str], object] = lambda text: None,
) -> Built:
    """`build_priors` from records at hand, writing nothing.

    Smoothings and weights of borrowing that are given are not chosen again.
    """
    if find_spec("scipy") is None:
        raise ScarfdateError('build_priors needs SciPy: pip install "scarfdate[learn]"')
    expert = expert_view(priors)
    if not len(records):
        raise ScarfdateError("build_priors: no record has a date; check the column map")
    say("the years")
    years = museum_years(records, last_year, smoothings=year_smoothings)
    say("what the records say of clues")
    what = said(records, priors)
    model = Model(priors, "museum", last_year)
    saying = noted(what, records, model, within(records, last_year), FAMILIES)
    density = years.density[ALL]
    if smoothing is None:
        part = folds(records, _PARTS, _SEED).astype(np.intp)
        smoothing, _ = chosen_smoothing(saying, density, part)
    clues = fit(saying, density, smoothing)
    say("how much other textiles say of scarves")
    like = np.isin(
        records.kind.codes,
        [place for place, word in enumerate(records.kind.words) if word == SCARF_LIKE],
    ).astype(float)
    if borrowed is None:
        borrowed = {
            family: borrowing(saying, like, records.gift, density, family, smoothing)
            for family in BORROWING
            if like.any()
        }
    say("the tables")
    made = Made(
        records=records,
        years=years,
        model=model,
        expert=expert,
        noted=saying,
        like=like,
        everything=clues,
        scarves=fit(saying.weighted(like), density, smoothing) if like.any() else clues,
        borrowed=borrowed,
        trade=trade,
        source=_source(records, licence),
    )
    files = built_files(made)
    compared = csv.DictReader(io.StringIO(files["museum/compared.csv"].decode("utf-8")))
    folder = Path(priors.folder)
    if not (folder / LIMITS).is_file():  # a folder of single files: the shipped law holds
        folder = shipped_folder()
    files["museum/disagreements.csv"] = disagreement_table(list(compared), folder, files, trade)
    return Built(MappingProxyType(files), records, years, clues, smoothing, borrowed, trade, what)


def _source(records: Records, licence: str) -> str:
    text = f"scarfdate build-priors RECORDS; SHA-256 of the records {records.hash[:16]}"
    return f"{text}; {licence}" if licence else text
