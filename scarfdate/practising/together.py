"""What can be dealt of a piece that was drawn: only what one person can have noted of one thing.

Clues are drawn each by itself, mistakes and all. So a piece can have stitches on a fringe, or a way of printing on
plain cloth, and a square of 50 by 5 cm. What a look cannot find (``not_where`` in ``checks.csv``) is not shown; and
whoever has measured a piece whose form is then doubted looks again, so such a piece is not dealt.
"""

from __future__ import annotations

from collections.abc import Mapping

from scarfdate.answer.one_scarf import date_scarf
from scarfdate.tables.lists import Check
from scarfdate.tables.priors import Priors

_SIDES = ("width_cm", "height_cm")
_FORM = "form"


def findable(seen: Mapping[str, object], priors: Priors) -> dict[str, object]:
    """The clues of a piece without those that no look can find on it."""
    barred: dict[str, bool] = {}
    for check in priors.checks:
        barred[check.family] = barred.get(check.family, True) and _is_barred(check, seen, priors)
    return {name: cell for name, cell in seen.items() if not barred.get(name, False)}


def _is_barred(check: Check, seen: Mapping[str, object], priors: Priors) -> bool:
    """Whether something noted of another family leaves nothing to look at."""
    return any(
        word and family != check.family and seen.get(family) == word
        for family, word in check.not_where
    )


def form_fits(seen: Mapping[str, object], priors: Priors, channel: str, as_of: int) -> bool:
    """Whether the form and the sides that were noted go together."""
    both = {name: seen[name] for name in (_FORM, *_SIDES) if name in seen}
    return not date_scarf(both, priors=priors, channel=channel, as_of=as_of).doubts
