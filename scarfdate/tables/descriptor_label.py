"""Columns of the tables by which a label is read and weighed: the files ``label_*.csv``.

For `scarfdate.tables.descriptor_columns`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from scarfdate.conventions import MARKETS
from scarfdate.tables.descriptor_evidence import STATUS
from scarfdate.tables.descriptor_fields import (
    Field,
    Words,
    integer,
    number,
    share,
    text,
    word,
    year,
)
from scarfdate.tables.label import ANY, FREE, PREFIXES, ROLES

_FUR_SERIES = "rn-fur"  # the one series that is not named after a mark
# in brackets, since a validator may put ^ and $ around a pattern as it stands
_MARKET = f"({'|'.join(MARKETS)})"
_MARKETS_PATTERN = rf"({_MARKET}( *\| *{_MARKET})*)"
_LANGUAGE_PATTERN = f"([a-z]{{2}}|{ANY}|sign)"


def _shaped(field: Field, pattern: str) -> Field:
    """The field, with a pattern that every filled cell has."""
    constraints = field.get("constraints")
    own = constraints if isinstance(constraints, dict) else {}
    return field | {"constraints": own | {"pattern": pattern}}


def _markets(column: str, what: str) -> Field:
    return _shaped(text(column, what, False), _MARKETS_PATTERN)


def _words(column: str, words: Words) -> Field | None:
    phrase = "Words of a label, or of a sign in square brackets; case and accents do not count."
    mark = "What the phrase is: a mark of label_values.csv, or what is read with its neighbours."
    value = (
        "Which value of the mark; for an opening or a sign, what it opens or stands for; empty for "
        "none."
    )
    fields = {
        "phrase": text(column, phrase),
        "language": _shaped(
            text(column, "Language of the phrase (ISO 639-1), any, or sign for a printed sign."),
            _LANGUAGE_PATTERN,
        ),
        "mark": word(column, mark, [*dict.fromkeys((*words.marks, *FREE, *PREFIXES))]),
        "value": text(column, value, False),
        "markets": _markets(
            column, "Markets where the phrase is at home, parted by |; empty for all."
        ),
    }
    return fields.get(column)


def _values(column: str, words: Words) -> Field | None:
    fields = {
        "mark": text(column, "Name of the mark; the other label files go by it."),
        "value": text(column, "A value of the mark; empty for the mark as a whole.", False),
        "title": text(column, "What it is called in a sentence."),
        "markets": _markets(
            column, "Markets where the mark is at home, parted by |; empty for all."
        ),
        "family": word(column, "Family of the clue that the value names; else empty.",
                       [*words.families], required=False),
        "word": text(column, "Value of that family that is named; else empty.", False),
    }  # fmt: skip
    return fields.get(column)


def _rules(column: str, words: Words) -> Field | None:
    role = "bound: the years bound the mark; guard: a caution against a wrong conclusion, no bound."
    before = "Part of the usual level that there is before the usual year; empty for none"
    lag = "Mean years for which labels of the old form are used up after until."
    absence = (
        "yes where the rule makes labels bear the mark, so that its absence counts; else empty."
    )
    fields = {
        "mark": word(column, "Mark that the fact speaks of.", words.marks),
        "value": text(column, "Value of the mark; empty for any.", False),
        "market": word(column, "Market of first sale that the fact holds in.", [*MARKETS, ANY]),
        "role": word(column, role, ROLES),
        "enacted": year(column, "Year in which the law was made.", required=False),
        "in_force": year(column, "Year in which the law came into force.", required=False),
        "not_before": year(column, "There is none before this year.", required=False),
        "usual": year(column, "Usual from this year on, by habit.", required=False),
        "until": year(column, "Last year in use, but for stocks of labels.", required=False),
        "stock_lag": number(column, lag, 0, required=False),
        "before": share(column, before, required=False),
        "absence": word(column, absence, ["yes"], required=False),
        "means": text(column, "What the fact says, in a sentence."),
        "fact": text(column, "Name of the dated fact."),
        "status": word(column, "How the fact is known.", STATUS),
    }
    return fields.get(column)


def _shown(column: str, words: Words) -> Field | None:
    mark = "Mark; any for those without rows of their own, in markets where they are at home."
    fields = {
        "mark": word(column, mark, [*words.marks, ANY]),
        "market": word(column, "Where the piece was first sold.", [*MARKETS, ANY]),
        "year": _knot(column),
        "full": share(column, "Full labels that show the mark"),
        "brief": share(column, "Brief labels that show the mark"),
    }
    return fields.get(column)


def _style(column: str, words: Words) -> Field | None:
    full = "Intact labels that are full ones, that say much; the others are brief"
    return {"year": _knot(column), "full": share(column, full)}.get(column)


def _knot(column: str) -> Field:
    return year(column, "Year of the knot; values between knots are interpolated.")


def _numbers(column: str, words: Words) -> Field | None:
    series = (
        f"Series of numbers: the mark that bears it, or {_FUR_SERIES} for numbers of the fur act."
    )
    fields = {
        "series": word(column, series, [*words.marks, _FUR_SERIES]),
        "number": integer(
            column, "A number of the series; years between rows are interpolated.", 0
        ),
        "year": year(column, "Year in which the number was issued."),
        "spread": number(column, "Standard deviation of that year, in years.", 0.1, 50),
    }
    return fields.get(column)


def _postcodes(column: str, words: Words) -> Field | None:
    prefix = 'Letters of the country before a hyphen, such as d in "D-80999"; empty for none.'
    language = (
        "Language (ISO 639-1) of a label that tells the country where a town that nobody knows stands "
        "behind the digits; empty where that is too little."
    )
    fields = {
        "country": word(column, "Country whose postal code it is.", words.values("origin")),
        "digits": integer(column, "Number of digits.", 1, 9),
        "mark": word(column, "Mark that it is.", words.marks),
        "prefix": _shaped(text(column, prefix, False), "[a-z]{1,3}"),
        "language": _shaped(text(column, language, False), "[a-z]{2}"),
    }
    return fields.get(column)


def _use(column: str, words: Words) -> Field | None:
    lag = "Years after the number was issued; weights between rows are interpolated."
    weight = "How much a number is in use then, as a part of its full use"
    return {"lag": number(column, lag), "weight": share(column, weight)}.get(column)


LABEL: Mapping[str, Callable[[str, Words], Field | None]] = {
    "label_words": _words,
    "label_values": _values,
    "label_rules": _rules,
    "label_shown": _shown,
    "label_style": _style,
    "label_numbers": _numbers,
    "label_postcodes": _postcodes,
    "label_use": _use,
}
