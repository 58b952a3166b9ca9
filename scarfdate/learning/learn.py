"""`learn`: from records to tables, by one of several routes, or a refusal."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from scarfdate.conventions import CHANNEL
from scarfdate.errors import RangeError, WordError, did_you_mean, shown
from scarfdate.knots import Array
from scarfdate.learning.counts import by_counts, em
from scarfdate.learning.laplace import laplace
from scarfdate.learning.learned import Learned, notes_of
from scarfdate.learning.likelihood import Target
from scarfdate.learning.patterns import patterns_of
from scarfdate.learning.trust import fit_trust
from scarfdate.learning.years import fit_year_factor
from scarfdate.model.model import compiled
from scarfdate.scoring.results import records_in_words
from scarfdate.tables.priors import Priors, folder_files, load_priors

if TYPE_CHECKING:
    from scarfdate.records.sold import SoldRecords

ROUTES = ("laplace", "hierarchical", "counts", "em", "trust")
_SEED = 6
_DRAWS = 400


def learn(
    records: SoldRecords,
    priors: Priors | None = None,
    *,
    route: str = "laplace",
    channel: str = CHANNEL,
    as_of: int | None = None,
    all_that_turned_up: bool = False,
    rng: np.random.Generator | None = None,
    draws: int = _DRAWS,
) -> Learned:
    """Learn the tables of the clues from records whose years are known.

    ``route``: "laplace" (the mode and its curvature, the scales by evidence: seconds), "hierarchical"
    (the same target sampled by NUTS: minutes), "counts" (Dirichlet arithmetic), "em" (that until nothing
    moves), or "trust" (the tables stay, and each clue gets a power between 0 and 1). ``channel``: where
    the records are from. ``all_that_turned_up``: True where the records are everything that came in and
    not only what was bought; then how often years, grades and markets turn up in the channel is learned,
    too, apart from the clues, and written as the channel's own.
    ``draws``: how many draws of the tables are kept. ``rng``: one with a fixed seed unless given.

    Raises RangeError where there are no records, TableError where some cannot be read, WordError for a
    route that there is not, ScarfdateError where nothing can be learned from them or the answer cannot
    be trusted, with what to do.
    """
    if route not in ROUTES:
        raise WordError(f"route: {shown(route)} is none; {did_you_mean(str(route)[:50], ROUTES)}")
    if isinstance(draws, bool) or not isinstance(draws, int) or not 10 <= draws <= 10_000:
        raise RangeError(f"draws: a whole number from 10 to 10000 is allowed, got {shown(draws)}")
    if rng is not None and not isinstance(rng, np.random.Generator):
        raise RangeError(f"rng: a numpy Generator is allowed, got {shown(rng)}")
    started = time.perf_counter()
    known = priors or load_priors()
    files = folder_files(known)
    model = compiled(known, channel, as_of)
    rng = rng or np.random.default_rng(_SEED)
    patterns = patterns_of(model, records)
    target = Target(model, patterns)
    if not target.columns:
        raise RangeError(
            "records: no record has a clue that tables can learn from: fibre, hem, motif, ..."
        )
    container, trust, told = None, None, ""
    found: Array = np.zeros((1, target.deviations.size))
    log_scale: Array = np.zeros(len(target.deviations.scales))
    if route == "trust":
        trust = fit_trust(model, patterns)
    elif route in ("counts", "em"):
        free, _ = by_counts(target) if route == "counts" else em(target)
        found = free[None]
    elif route == "laplace":
        mode = laplace(target)
        found, log_scale = mode.draws(draws, rng)
    else:
        from scarfdate.learning.nuts import sampled

        found, log_scale, container, told = sampled(target, draws, rng)
    years = fit_year_factor(model, patterns) if all_that_turned_up else None
    n = len(records.clues)
    source = (
        f"{records_in_words(n)} ({getattr(records, 'file_hash', '')[:8] or 'no file'}), {route}, "
        f"{date.today().isoformat()}; parent {known.hash[:8]}"
    )
    learned = Learned(
        route, n, channel, model.as_of, target.deviations, found, log_scale, known.hash, source, (),
        0.0, model, target, files, all_that_turned_up, container, trust, years,
    )  # fmt: skip
    return replace(
        learned,
        notes=(*notes_of(learned), *([told] if told else [])),
        seconds=time.perf_counter() - started,
    )
