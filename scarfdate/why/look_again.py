"""Which pieces of a pile repay a second look: those with something in doubt, and where one more look pays most."""

from __future__ import annotations

from typing import TYPE_CHECKING

from scarfdate.answer.rows import scarves
from scarfdate.why.looks import Look
from scarfdate.why.next_checks import next_checks

if TYPE_CHECKING:
    import pandas as pd

    from scarfdate.tables.priors import Priors

LISTED = 5  # pieces of either sort: a list to act on, not to read
_TRIED = 6  # pieces whose next looks are worked out: those with the widest years have most to gain


def in_doubt(answers: pd.DataFrame) -> list[int]:
    """The places of the rows of which something noted is in doubt, in their order."""
    return [place for place, yes in enumerate(answers["doubt"].notna().tolist()) if yes]


def pays_most(
    clues: pd.DataFrame, answers: pd.DataFrame, *, priors: Priors, channel: str, as_of: int | None,
    unit: str | None = None,
) -> list[tuple[int, Look]]:  # fmt: skip
    """The places of the rows where one more look narrows most for its time, and the look; the best first.

    ``clues``: rows as `date_table` takes them; ``answers``: what it made of them. Of the pieces with the
    widest years only: to try all looks on every piece of a pile takes long.
    """
    import pandas as pd

    width = (answers["year_to"] - answers["year_from"]).tolist()
    dated = [place for place, years in enumerate(width) if not pd.isna(years)]
    widest = sorted(dated, key=lambda place: -width[place])
    tried = 0
    found = []
    for place, scarf in zip(widest, scarves(clues, widest, priors, unit), strict=True):
        # where nothing was noted nobody has looked a first time
        if scarf is not None and any(scarf.clues()):
            tried += 1
            looks = next_checks(scarf, priors=priors, channel=channel, as_of=as_of).looks
            found += [(place, look) for look in sorted(looks, key=_pays)[-1:]]
        if tried == _TRIED:
            break
    return sorted(found, key=lambda one: -_pays(one[1]))[:LISTED]


def _pays(look: Look) -> float:
    """Years a minute."""
    return look.narrower / look.minutes
