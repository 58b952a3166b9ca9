"""`describe`: a piece put into words for a buyer, each clause with the number that it stands on."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from scarfdate.answer.again import without_answers
from scarfdate.answer.date import ANSWERS
from scarfdate.answer.dating import Dating
from scarfdate.answer.one_scarf import as_scarf, date_scarf
from scarfdate.clues.readable import readable, rows_of_cells
from scarfdate.clues.scarf import Scarf
from scarfdate.conventions import CHANNEL
from scarfdate.errors import ScarfdateError, shown
from scarfdate.frozen import frozen
from scarfdate.reading.cells import is_blank
from scarfdate.reading.frames import as_pandas
from scarfdate.reading.observation import Observation
from scarfdate.tables.listing import checked_language
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.words.units import checked_unit
from scarfdate.worth import listing_views as views
from scarfdate.worth.claims import (
    BASIS,
    FOR_THE_SELLER,
    PHOTOGRAPHS,
    PUBLISHED,
    TITLE,
    Claim,
)
from scarfdate.worth.clauses import Clauses
from scarfdate.worth.condition import Condition
from scarfdate.worth.condition_clauses import condition_clauses
from scarfdate.worth.condition_columns import conditions_read
from scarfdate.worth.listing import Listing
from scarfdate.worth.phrasing import Phrasing
from scarfdate.worth.product import product

if TYPE_CHECKING:
    import pandas as pd

_ORDER = (*PUBLISHED, *FOR_THE_SELLER)
_ALWAYS = ("front", "back", "cloth", "hem", "size")  # photographs of any piece
_NOTHING = {"label": ("none-seen",), "signature": ("none",)}  # words for what there is none of


def describe(
    scarf: Scarf | Mapping[str, object],
    dating: Dating | None = None,
    condition: Condition | str | Mapping[str, object] | Iterable[object] | None = None,
    *,
    language: str = "en",
    priors: Priors | None = None,
    channel: str = CHANNEL,
    as_of: int | None = None,
) -> Listing:
    """Describe one piece for sale, truthfully.

    ``scarf``: what was seen; ``dating``: its dating where it was dated already, with the same tables (its channel
    and year then hold); ``condition``: its faults, as a `Condition`, or as text or a list of them; None where
    nobody has looked; ``language``: "en", "de", "fr", "it". The years are at least four in five sure;
    vintage and antique are said only where the age is nearly certain (``listing_sure`` of ``allowances.csv``)
    and no later piece in an older look is likely. No maker and no country is named but as a label says it.

    Caution: you answer for what you sell by. It rests on your notes; "by feel" is no test, and fibre names are
    regulated in many countries (in the Union by Regulation 1007/2011).

    Raises WordError for another language, ScarfdateError where the dating is of another piece or of other tables,
    and as `date_scarf` and `Condition` do.
    """
    known, wanted = checked_priors(priors), checked_language(language)
    seen = as_scarf(scarf, known)
    if dating is None:
        dating = date_scarf(seen, priors=known, channel=channel, as_of=as_of)
    elif not isinstance(dating, Dating):
        raise ScarfdateError(f"dating: what date_scarf gives is allowed, got {shown(dating)}")
    elif dating.priors_hash != known.hash:
        raise ScarfdateError("dating: it was made with other tables; give these as priors")
    elif not dating.is_of(seen):
        raise ScarfdateError("dating: it is of another piece; leave it out, or date this one")
    if isinstance(condition, str) and is_blank(condition):
        condition = None
    elif condition is not None and not isinstance(condition, Condition):
        condition = Condition(condition, priors=known)  # type: ignore[arg-type]
    return _made(seen, dating, condition, Phrasing(priors=known, language=wanted))


def describe_table(
    frame: pd.DataFrame,
    *,
    language: str = "en",
    priors: Priors | None = None,
    channel: str = CHANNEL,
    as_of: int | None = None,
    unit: str | None = None,
) -> tuple[Listing, ...]:
    """Describe every row of a frame, as `date_table` reads it, in its order.

    ``frame``: one row a piece, columns headed as the keywords of `Scarf` or as people head them, and the condition
    as `conditions_of` reads it; ``unit``: of sizes that state none. A cell that cannot be read is left
    out and told in ``left_out`` of its listing.

    Raises WordError for another language, TableError where no column of the frame is known.
    """
    known, wanted = checked_priors(priors), checked_language(language)
    say = Phrasing(priors=known, language=wanted)
    unit = checked_unit(unit)
    made = []
    table = without_answers(as_pandas(frame), ANSWERS)
    rows = rows_of_cells(table, known, unit)
    for cells, (condition, unread, written) in zip(
        rows, conditions_read(table, known), strict=True
    ):
        scarf, left_out = readable(cells, known)
        if unread:
            left_out = (*left_out, f"condition: not understood: {', '.join(unread)}")
        dating = date_scarf(scarf, priors=known, channel=channel, as_of=as_of)
        made.append(_made(scarf, dating, condition, say, left_out, written))
    return tuple(made)


def _made(
    scarf: Scarf,
    dating: Dating,
    condition: Condition | None,
    say: Phrasing,
    left_out: Sequence[str] = (),
    written: str = "",
) -> Listing:
    sure = max(dating.level, say.priors.allowances["listing_probably"])
    if dating.level < sure:
        dating = replace(dating, level=sure)
    clauses = Clauses(scarf=scarf, dating=dating, say=say)
    faults = condition.faults if condition is not None else ()
    claims = [
        *clauses.every(),
        *condition_clauses(clauses, condition, written),
        *_number(clauses),
        *_photographs(clauses, len(faults)),
    ]
    claims.sort(key=lambda claim: _ORDER.index(claim.section))
    headings = {section: say.heading(section) for section in _ORDER if section != TITLE}
    name = views.title(claims)
    body = views.text(name, views.parts(claims, headings))
    record = product(clauses, name, body, condition)
    return Listing(
        language=say.language,
        claims=tuple(claims),
        notes=dating.warnings,
        left_out=tuple(left_out),
        _headings=frozen(headings),
        _record=json.dumps(record),
    )


def _number(clauses: Clauses) -> Iterator[Claim]:
    """What the seller calls the piece, as a buyer may quote it."""
    text = clauses.say.quote(clauses.scarf.id)
    if text:
        yield Claim(
            clause=clauses.say.say("number", text=text), number=1.0, basis="pieces of this name",
            kind="id", section=BASIS,
        )  # fmt: skip


def _photographs(clauses: Clauses, faults: int) -> Iterator[Claim]:
    """What to photograph: what any buyer asks for, what is written on it, its faults, and what is in doubt."""
    counts = dict.fromkeys(_ALWAYS, 1)
    seen = clauses.scarf.seen
    for name, absent in _NOTHING.items():
        one = seen.get(name)
        if one is not None and not (isinstance(one, Observation) and one.word in absent):
            counts[name] = 1
    if "printed_year" in seen:
        counts["printed year"] = 1
    if faults:
        counts["faults"] = faults
    if clauses.dating.doubts:
        counts["doubt"] = len(clauses.dating.doubts)
    for name, count in counts.items():
        yield Claim(
            clause=clauses.say.photograph(name), number=float(count), basis="pictures to take",
            kind="photograph", section=PHOTOGRAPHS,
        )  # fmt: skip
