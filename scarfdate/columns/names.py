"""Our names for the columns of a dealer's book and of a museum's export, and the ways of knowing a date."""

from __future__ import annotations

from collections.abc import Sequence

from scarfdate.clues.kinds import keywords
from scarfdate.errors import did_you_mean, shown
from scarfdate.reading.cells import as_typed, column_name
from scarfdate.reading.headings import heading_of
from scarfdate.tables.priors import Priors
from scarfdate.tables.words import plain

DATES = ("known", "known_from", "known_to")
SOLD = (
    "id", *DATES, "known_by", "judged_by", "sold_on", "listed_on", "sold_price", "sold_currency",
    "sold_channel", "days_to_sell", "costs", "bought_on", "asked_price", "returned", "price_index",
    "condition", "quantity",
)  # fmt: skip
MUSEUM = (
    "source", "record_id", "object_type", "date_text", "year_begin", "year_end", "medium_text",
    "country", "width_cm", "height_cm", "year_acquired", "licence",
)  # fmt: skip
WAYS = (
    "receipt", "maker-archive", "printed-date", "dated-event", "museum-record", "family-history",
    "label-law", "own-judgement",
)  # fmt: skip
_WAYS_READ = {plain(way): way for way in WAYS} | {"own judgment": "own-judgement"}
SCARF_LIKE = "scarf-like"  # the kind of object that this library dates
JOINT = "; "
NOTE = "note"  # columns of a dealer's book whose names begin so are kept as they are


def known_names(own: tuple[str, ...], priors: Priors) -> list[str]:
    """Every name that a column of a dealer's book (notes aside) or of a museum's export can have."""
    if own == MUSEUM:
        return [*own, *priors.shares]
    methods = [f"{name}_method" for name in priors.confusion]
    clues = [name for name in keywords(priors) if name not in ("id", NOTE, "methods")]
    return [*own, *clues, *methods]


def is_name(text: str, names: Sequence[str]) -> bool:
    """Whether a column of this name is read or, being a note of a dealer's book, kept."""
    return text in names or (text.startswith(NOTE) and "known_by" in names)


def heading_name(heading: object, priors: Priors) -> str:
    """Our name for a column of a dealer's table by its heading; "" where it is nobody's."""
    if not isinstance(heading, str):
        return ""
    names = known_names(SOLD, priors)
    own = heading_of(heading, names, priors.headings)
    return own if is_name(own, names) else ""


def way_of(text: object) -> str:
    """One of `WAYS` as written in whatever case and with or without hyphens; "" for other words."""
    return _WAYS_READ.get(plain(text[:80]), "") if isinstance(text, str) else ""


def places_of(text: str, header: Sequence[str]) -> list[int]:
    """The numbers of the columns of this name: as written, or else in another case."""
    exact = [at for at, name in enumerate(header) if name == text.strip()]
    folded = column_name(text)
    return exact or [at for at, name in enumerate(header) if column_name(name) == folded]


def unknown_way(cell: object) -> str:
    """What to say of a cell of ``known_by`` that is none of `WAYS`."""
    hint = did_you_mean(plain(as_typed(cell)[:100]), WAYS)
    return f"{shown(cell)} is no way of knowing a date; {hint}"
