"""Columns of the tables that stand behind the others: records, trade descriptions, law, disagreements.

For `scarfdate.tables.descriptor_columns`. None of these tables is read in dating.
"""

from __future__ import annotations

from collections.abc import Callable

from scarfdate.tables.century import MUSEUM_KINDS
from scarfdate.tables.descriptor_fields import (
    Field,
    Place,
    Words,
    decade,
    integer,
    number,
    sentence,
    share,
    text,
    word,
    year,
)
from scarfdate.tables.shares import ANY

_AGAINST = ("museum", "trade", "law")
STATUS = ("read", "memory", "common-practice")
_STATEMENTS = (
    "one year", "2 to 5 years", "6 to 11 years", "a decade", "12 to 30 years", "31 to 60 years",
    "over 60 years",
)  # fmt: skip


def trade(place: Place, column: str, words: Words) -> Field | None:
    """Counts of coded trade descriptions."""
    meanings = words.meanings.get(place.family, {})
    if column in meanings:
        return number(column, sentence("Effective count of rows.", meanings[column]), 0)
    fields = {
        "decade": decade(column),
        "family": word(column, "Family of clues.", [*words.families]),
        "given": word(column, "Form that the row holds for.", [*words.values("form"), ANY]),
        "value": text(column, "Value of the family."),
        "rows": integer(column, "How many descriptions say so.", 0),
        "sellers": integer(column, "How many sellers say so.", 0),
        "mean_log_cm": number(column, "Mean natural logarithm of the long side in cm."),
        "sd_log_cm": number(column, "Its standard deviation; empty below two rows.", 0,
                             required=False),
        "count": number(column, "Effective count of rows.", 0),
        "effective": number(column, "Effective count of rows.", 0),
    }  # fmt: skip
    return fields.get(column)


def museum(place: Place, column: str, words: Words) -> Field | None:
    """The files that say what stands behind the built tables."""
    tables: dict[str, Callable[[str, Words], Field | None]] = {
        "intervals": _intervals,
        "statements": _statements,
        "borrowed": _borrowed,
        "compared": _compared,
        "disagreements": _disagreements,
    }
    table = tables.get(place.family)
    return table(column, words) if table else None


def _intervals(column: str, words: Words) -> Field | None:
    fields = {
        "kind": text(column, "Kind of object."),
        "first": year(column, "First year stated; empty where the date has no beginning.", 1,
                       required=False),
        "last": year(column, "Last year stated; empty where the date has no end.", 1,
                      required=False),
        "acquired": year(column, "Year of acquisition, where it cuts the interval short.", 1,
                          required=False),
        "statement": word(column, "Kind of date statement, by its width.", _STATEMENTS),
        "records": integer(column, "How many records state this.", 1),
        "effective": number(column, "The same, with records that belong together counted once.", 0),
    }  # fmt: skip
    return fields.get(column)


def _statements(column: str, words: Words) -> Field | None:
    if column == "kind":
        return word(column, "Kind of object, as in year_museum.csv.", MUSEUM_KINDS)
    if column == "year":
        return year(column, "Year of making that the shares hold for.")
    return share(column, f"Dates stated as {column}") if column in _STATEMENTS else None


def _borrowed(column: str, words: Words) -> Field | None:
    fields = {
        "family": word(column, "Family of clues.", words.of_shares()),
        "weight": number(column, "Weight tried for a record of another textile.", 0, 1),
        "gain": number(column, "Gain over no borrowing, in nats a held-out scarf record."),
        "error": number(column, "Standard error of the gain.", 0),
        "taken": word(column, "The weight that the shipped tables go by; else empty.", ["yes"],
                       required=False),
        "records": number(column, "Effective scarf records that were held out.", 0),
    }  # fmt: skip
    return fields.get(column)


def _compared(column: str, words: Words) -> Field | None:
    sources = {
        "scarves": "museum records of scarves and the like",
        "museum": "all museum records",
        "trade": "coded trade descriptions",
    }
    if column in sources:
        what = f"Share among {sources[column]}; empty where fewer than half a one is behind it"
        return share(column, what, required=False)
    if column.removesuffix("_number") in sources:
        of = sources[column.removesuffix("_number")]
        return number(column, f"Expected number of {of}, unweighted, behind the share.", 0)
    fields = {
        "family": word(column, "Family of clues.", words.of_shares()),
        "decade": decade(column),
        "value": text(column, "Value of the family."),
        "expert": share(column, "Share by the expert rows, grades as in a thrift shop"),
        "shipped": share(column, "Share by the shipped rows, grades as in a thrift shop"),
    }
    return fields.get(column)


def _disagreements(column: str, words: Words) -> Field | None:
    if column in ("scarves_number", "museum_number"):
        own = _compared(column, words)
        return own and number(column, str(own["description"]), 0, required=False)
    follows = "What the shipped share is nearest to."
    difference = (
        "Museum or trade less shipped, in standard deviations on the double arcsine scale, the larger "
        "in size; empty where too few records are behind both."
    )
    fields = {
        "decade": decade(column, required=False),
        "law": text(column, "Years of the facts that bear on the value, with their names.", False),
        "difference": number(column, difference, required=False),
        "against": word(column, "What says otherwise than is shipped.", _AGAINST),
        "follows": word(column, follows, ["law", "expert", "scarves", "museum", "trade"]),
        "why": text(column, "The reason, as far as one is known.", False),
    }
    return fields.get(column) or _compared(column, words)


def law_limits(column: str, words: Words) -> Field | None:
    """Dated facts about the values of clues."""
    fields = {
        "family": word(column, "Family of clues.", words.of_shares()),
        "value": text(column, "Value of the family."),
        "not_before": year(column, "There is none before this year.", required=False),
        "usual_from": year(column, "Usual from this year on.", required=False),
        "until": year(column, "Last year in use.", required=False),
        "allowed": share(column, "Shipped share that may stand before not_before all the same",
                         required=False),
        "fact": text(column, "Name of the dated fact."),
        "status": word(column, "How the fact is known.", STATUS),
    }  # fmt: skip
    return fields.get(column)


def disagreement_reasons(column: str, words: Words) -> Field | None:
    """Sentences on why museum, trade or law say otherwise."""
    side = "Whether they say more or less than is shipped; pooled for one row over all decades."
    fields = {
        "family": word(column, "Family of clues.", words.of_shares()),
        "value": text(column, "Value of the family, or any."),
        "against": word(column, "What says otherwise than is shipped.", _AGAINST),
        "side": word(column, side, ["more", "less", ANY, "pooled"]),
        "why": text(column, "The reason, in a sentence."),
    }
    return fields.get(column)


def built_from(column: str, words: Words) -> Field | None:
    """Which records are added to the expert rows of which family."""
    fields = {
        "records": word(column, "Records that are added to the expert rows.", ["museum", "trade"]),
        "family": word(column, "Family of clues.", [*words.families]),
        "value": text(column, "Value of the family, or of the one that it is measured on; or any."),
        "channel": text(column, "Channel whose price tiers the records are taken to have."),
    }
    return fields.get(column)
