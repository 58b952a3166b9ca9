"""`build_priors`: the tables that records make, written into a priors folder with what stands behind them.

Written are, all or none:

    year_museum.csv                what museums record, by year and kind of object
    museum/shares, museum/measured clues in museums: the tables of the channel ``museum``
    museum/intervals.csv           binned dates that let anyone refit the densities
    museum/statements.csv          how museums state dates, by year
    museum/borrowed.csv            how much records of other textiles count for
    museum/compared.csv            expert, museum, trade and shipped rows side by side
    museum/disagreements.csv       where they, or the law, disagree, and which row is followed
    trade/                         trade descriptions, counted
    shares, measured               expert rows (``expert/``) with museum records and trade added
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from scarfdate.building.clue_tables import ClueTables, Smoothing, chosen_smoothing, fit
from scarfdate.building.combined import Borrowing, borrowing
from scarfdate.building.disagreement_table import disagreement_table
from scarfdate.building.files import built_files
from scarfdate.building.made import SIZE, Made
from scarfdate.building.record_clues import (
    FAMILIES,
    FROM_MEDIUM,
    RecordClues,
    likelihoods,
    record_clues,
    within,
)
from scarfdate.building.sources import (
    cut_collections,
    expert_years,
    read_sources,
    whole_folder,
)
from scarfdate.building.trade import Trade, read_trade
from scarfdate.building.year import ALL, MuseumYears, date_widths, museum_years
from scarfdate.columns.names import SCARF_LIKE
from scarfdate.conventions import FIRST_YEAR
from scarfdate.errors import ScarfdateError
from scarfdate.files import as_path, check_folder_for, write_folder
from scarfdate.model.model import Model
from scarfdate.records.arrays import Records
from scarfdate.records.museum import folds, read_records
from scarfdate.tables.folder import is_dated_by
from scarfdate.tables.priors import Priors, load_priors, priors_of_files
from scarfdate.threads import one_thread
from scarfdate.years import checked_as_of

EXPERT = "expert"  # the folder of rows written by people
_SEED = 7
_PARTS = 5  # for held-out choices
_CHOSEN_FROM = (
    50_000  # clumps at most: more of them would say no better which of six smoothings is right
)


@dataclass(frozen=True, kw_only=True)
class Built:
    """What records made: ``files`` by name in the priors folder, and every estimate behind them."""

    files: Mapping[str, bytes]
    records: Records
    years: MuseumYears
    clues: ClueTables
    smoothing: Smoothing
    borrowed: Mapping[str, Borrowing]
    trade: Trade | None
    record_clues: RecordClues


def build_priors(
    paths: Sequence[Path | str],
    out: Path | str,
    *,
    columns: Path | str | None = None,
    trade: Path | str | None = None,
    licence: str = "",
    last_year: int = 2025,
    priors: Priors | None = None,
    force: bool = False,
    say: Callable[[str], object] = lambda text: None,
) -> Built:
    """Build the tables that rest on records and write them into the new folder ``out``.

    ``paths``: record files, read with the column map ``columns`` (`read_records`). ``trade``: coded
    trade descriptions. ``licence``: of the records, written into every row. ``last_year``: of the
    tables. Of very many records 50,000 clumps, drawn at random, choose how much is smoothed; all make the
    tables. ``priors``: whose words, rules, confusion and expert rows hold throughout (by default the
    shipped ones). ``force``: write into a folder that is there, over its tables of the same
    names, whoever wrote them. ``say`` is called with the name of each step. Raises TableError where nothing can
    be read, PriorsError for faulty priors and where what the records make would be refused by `load_priors`
    (then nothing is written), ScarfdateError for priors without a family that records
    state.
    """
    folder = as_path(out, "out")
    check_folder_for(folder, new=not force, force_helps=True)
    known = load_priors() if priors is None else priors
    last_year = checked_as_of(last_year)
    say("reading the records")
    records = read_records([Path(path) for path in paths], columns, priors=known)
    descriptions = None if trade is None else read_trade(trade, expert_view(known))
    built = built_from(
        records, known, trade=descriptions, licence=licence, last_year=last_year, say=say
    )
    dated_by = {name: file for name, file in built.files.items() if is_dated_by(name)}
    priors_of_files({**known.files, **dated_by}, str(out))  # or nothing is written
    write_folder(folder, built.files, new=not force)
    return built


def expert_view(priors: Priors) -> Priors:
    """The same priors with the rows as people wrote them, before any record was added."""
    return priors.with_set(EXPERT)


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
    try:
        import scipy.linalg  # noqa: F401  (one_thread holds only what is loaded already)
    except ImportError:
        raise ScarfdateError('build_priors needs SciPy: pip install "scarfdate[learn]"') from None
    missing = [family for family in (*FAMILIES, SIZE) if family not in priors.families]
    if missing:
        raise ScarfdateError(
            f"build_priors: the priors have no family {missing[0]}, which records of museums state; "
            "add it to families.csv"
        )
    if not len(records):
        raise ScarfdateError("build_priors: no record has a date; check the column map")
    if records.effective < 2:
        raise ScarfdateError(
            "build_priors: all records are alike; at least two different are needed"
        )
    with one_thread():
        made, smoothing = _estimated(
            records, priors, trade, _source(records, licence), last_year, smoothing,
            year_smoothings, borrowed, say,
        )  # fmt: skip
        say("the tables")
        files = built_files(made)
        compared = csv.DictReader(io.StringIO(files["museum/compared.csv"].decode("utf-8")))
        folder, own = whole_folder(priors)
        files["museum/disagreements.csv"] = disagreement_table(
            list(compared), folder, {**own, **files}, trade
        )
    return Built(
        files=files,
        records=records,
        years=made.years,
        clues=made.everything,
        smoothing=smoothing,
        borrowed=made.borrowed,
        trade=trade,
        record_clues=made.record_clues,
    )


def _estimated(
    records: Records,
    priors: Priors,
    trade: Trade | None,
    source: str,
    last_year: int,
    smoothing: Smoothing | None,
    year_smoothings: Mapping[str, float] | None,
    borrowed: Mapping[str, Borrowing] | None,
    say: Callable[[str], object],
) -> tuple[Made, Smoothing]:
    """Every estimate that the tables are made of, and the smoothing of the clue tables."""
    sources = read_sources(priors)
    say("the years")
    years = museum_years(
        records, last_year, date_widths(priors), smoothings=year_smoothings,
        cut=cut_collections(priors),
        lines=expert_years(priors, np.arange(FIRST_YEAR, last_year + 1)),
        worth=priors.allowances["years_worth"], in_shops=priors.allowances["museum_years"],
    )  # fmt: skip
    say("the clues of the records")
    clues = record_clues(records, priors)
    model = Model(priors, "museum", last_year)
    every = likelihoods(clues, records, model, within(records, last_year), FAMILIES)
    every_like = records.kind.is_word(SCARF_LIKE).astype(float)
    density = years.density[ALL]
    if smoothing is None:
        part = folds(records, min(_PARTS, records.effective), _SEED)
        some = _sample(records, _CHOSEN_FROM, _SEED)
        in_parts, first, _ = every.some(some).alike(part[some])
        smoothing, _ = chosen_smoothing(in_parts, density, part[some][first].astype(np.intp))
    likely, first, _ = every.alike(every_like.astype(np.intp))
    like = every_like[first]
    tables = fit(likely, density, smoothing)
    say("how much records of other textiles count for")
    if borrowed is None:
        borrowed = {
            family: borrowing(every, every_like, records.gift, density, family, smoothing)
            for family in FROM_MEDIUM  # of cloth and printing other textiles may be witnesses
            if like.any()
        }
    made = Made(
        records=records,
        years=years,
        model=model,
        expert=expert_view(priors),
        record_clues=clues,
        likelihoods=likely,
        like=like,
        everything=tables,
        scarves=fit(likely.weighted(like), density, smoothing) if like.any() else tables,
        borrowed=borrowed,
        sources=sources,
        trade=trade,
        source=source,
    )
    return made, smoothing


def _sample(records: Records, most: int, seed: int) -> NDArray[np.bool_]:
    """Which records to go by where all are too many: so many whole clumps, drawn at random."""
    drawn = np.random.default_rng(seed).permutation(records.effective) < most
    return np.asarray(drawn[records.clump])


def _source(records: Records, licence: str) -> str:
    text = f"scarfdate build-priors RECORDS; SHA-256 of the records {records.hash[:16]}"
    return f"{text}; {licence}" if licence else text
