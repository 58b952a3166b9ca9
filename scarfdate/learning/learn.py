"""`learn`: from records to tables, by one of several routes, or a refusal."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import date
from importlib.util import find_spec
from typing import Any

import numpy as np

from scarfdate.conventions import CHANNEL, Array
from scarfdate.errors import RangeError, ScarfdateError, WordError, did_you_mean, is_one_of, shown
from scarfdate.learning.counts import by_counts, em
from scarfdate.learning.laplace import laplace
from scarfdate.learning.learned import Learned
from scarfdate.learning.likelihood import Likelihood
from scarfdate.learning.notes import notes_of
from scarfdate.learning.patterns import patterns_of
from scarfdate.learning.trust import fit_trust
from scarfdate.learning.years import fit_year_factor
from scarfdate.model.model import compiled
from scarfdate.records.known import KnownRecords, checked_records
from scarfdate.scoring.in_words import records_in_words
from scarfdate.tables.priors import Priors, folder_files, load_priors
from scarfdate.threads import one_thread

ROUTES = ("laplace", "hierarchical", "counts", "em", "trust")
_SEED = 6
_DRAWS = 400


def learn(
    records: KnownRecords,
    priors: Priors | None = None,
    *,
    route: str = "laplace",
    channel: str = CHANNEL,
    as_of: int | None = None,
    all_that_turned_up: bool = False,
    rng: np.random.Generator | None = None,
    draws: int = _DRAWS,
) -> Learned:
    """Learn the tables of the clues from records whose years are known, as from `read_sold`.

    ``route``: "laplace" (the posterior mode and a normal approximation there, the hyperparameters by
    empirical Bayes: seconds), "hierarchical" (the same posterior sampled by NUTS, hyperparameters and
    all: minutes), "counts" (conjugate Dirichlet updating), "em" (that until it converges), or "trust" (the
    tables stay, and the likelihood of each clue gets an exponent between 0 and 1). ``channel``: where the
    records are from. ``all_that_turned_up``: True where the records are everything that came in and not
    only what was bought; then how often years, grades and markets turn up in the channel is learned, too,
    apart from the clues, and written as the channel's own.
    ``draws``: how many draws of the tables are kept, 10 to 10,000. ``rng``: a fixed seed unless given.

    Raises RangeError where there are no records, TableError where some cannot be read, WordError for a
    route that is not known, ScarfdateError where nothing can be learned from them or the answer cannot
    be trusted, with what to do.
    """
    if not is_one_of(route, ROUTES):
        hint = did_you_mean(route, ROUTES)
        raise WordError(f"route: {shown(route)} is not known; {hint}")
    if isinstance(draws, bool) or not isinstance(draws, int) or not 10 <= draws <= 10_000:
        raise RangeError(f"draws: a whole number from 10 to 10000 is allowed, got {shown(draws)}")
    if rng is not None and not isinstance(rng, np.random.Generator):
        raise RangeError(f"rng: a numpy Generator is allowed, got {shown(rng)}")
    if priors is not None and not isinstance(priors, Priors):
        raise ScarfdateError(
            f"priors: those of load_priors are allowed, got {shown(type(priors).__name__)}"
        )
    checked_records(records)
    if find_spec("scipy") is None:
        raise ScarfdateError('learn needs SciPy: pip install "scarfdate[learn]"')
    import scipy.linalg  # noqa: F401  # its own BLAS must be there to be held

    with one_thread():
        return _learned(
            records,
            load_priors() if priors is None else priors,
            route=route,
            channel=channel,
            as_of=as_of,
            tiers=all_that_turned_up,
            rng=np.random.default_rng(_SEED) if rng is None else rng,
            draws=draws,
        )


def _learned(
    records: KnownRecords,
    priors: Priors,
    *,
    route: str,
    channel: str,
    as_of: int | None,
    tiers: bool,
    rng: np.random.Generator,
    draws: int,
) -> Learned:
    started = time.perf_counter()
    files = folder_files(priors)
    model = compiled(priors, channel, as_of)
    patterns = patterns_of(model, records)
    likelihood = Likelihood(model, patterns)
    if not likelihood.columns:
        raise RangeError(
            "records: no record has a clue that tables can learn from: fibre, hem, motif, ..."
        )
    theta: Array = np.zeros((1, likelihood.deviations.size))
    log_scale: Array = np.zeros(len(likelihood.deviations.scales))
    container: Any = None
    trust, chains = None, ""
    if route == "trust":
        trust = fit_trust(model, patterns)
    elif route in ("counts", "em"):
        theta = (by_counts if route == "counts" else em)(likelihood)[None]
    elif route == "laplace":
        theta, log_scale = laplace(likelihood).draws(draws, rng)
    else:
        from scarfdate.learning.nuts import sampled

        theta, log_scale, container, chains = sampled(likelihood, draws, rng)
    n = len(records.clues)
    learned = Learned(
        route=route,
        records=n,
        channel=channel,
        as_of=model.as_of,
        draws=theta,
        log_scale=log_scale,
        parent=priors.hash,
        source=(
            f"{records_in_words(n)} ({getattr(records, 'file_hash', '')[:8] or 'no file'}), {route}, "
            f"{date.today().isoformat()}; parent {priors.hash[:8]}"
        ),
        notes=(),
        seconds=0.0,
        trust=trust,
        years=fit_year_factor(model, patterns) if tiers else None,
        _patterns=patterns,
        _files=files,
        _tiers=tiers,
        _container=container,
    ).with_model(likelihood)
    notes = (*notes_of(learned), *([chains] if chains else []))
    seconds = time.perf_counter() - started
    return replace(learned, notes=notes, seconds=seconds).with_model(likelihood)
