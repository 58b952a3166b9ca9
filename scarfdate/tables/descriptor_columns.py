"""What each column of a priors folder holds, as a Table Schema field: for `scarfdate.tables.descriptor`."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from scarfdate.conventions import GRADES, MARKETS
from scarfdate.tables import descriptor_evidence as evidence
from scarfdate.tables.century import MUSEUM_COLUMNS, MUSEUM_KINDS
from scarfdate.tables.checks import NEEDS
from scarfdate.tables.descriptor_fields import (
    Field,
    Place,
    Words,
    inferred,
    integer,
    number,
    provenance,
    share,
    text,
    word,
    year,
)
from scarfdate.tables.descriptor_label import LABEL
from scarfdate.tables.families import KINDS, READS
from scarfdate.tables.makers import WHAT
from scarfdate.tables.shares import ANY
from scarfdate.tables.sheet import PROVENANCE

_READINGS = ("value", "synonym", "one-of", "missing")
# files at the top whose columns mean the same wherever they stand
_PLAIN = (
    "allowances", "grades", "lags", "lookback_appeal", "lookback_lag", "markets", "revivals", "slips",
    "survival", "year_channel",
)  # fmt: skip
_OF_KIND = dict(
    zip(
        MUSEUM_KINDS,
        ("all museum records", "scarves, shawls, handkerchiefs and the like alone",
         "furnishing and dress textiles alone"),
        strict=True,
    )
)  # fmt: skip


def field_of(place: Place, column: str, words: Words, cells: Sequence[str]) -> Field:
    """One column of a file. ``cells`` is every cell of it: what is not known here is inferred."""
    if column in PROVENANCE:
        return provenance(column, required=place.family != "vocabulary")
    known = _KNOWN.get(place.kind)
    field = known(place, column, words) if known else None
    return field or inferred(column, cells)


def _knot(column: str, grades: Sequence[str]) -> Field | None:
    if column == "year":
        return year(column, "Year of the knot; values between knots are interpolated.")
    if column == "grade":
        return word(column, "Price tier the piece was made for.", grades)
    if column == "market":
        return word(column, "Where the piece was first sold.", [*MARKETS, ANY])
    if column == "records":
        return number(column, "Effective museum records nearest to the knot.", 0)
    return None


def _shares(place: Place, column: str, words: Words) -> Field | None:
    meanings = words.meanings.get(place.family, {})
    if column in meanings:
        return share(column, meanings[column])
    return _knot(column, [*GRADES, ANY])


def _measured(place: Place, column: str, words: Words) -> Field | None:
    about = words.families.get(place.family, {})
    unit = f" ({about['unit']})" if about.get("unit") else ""
    if column == "given":
        parent = about.get("parent", "")
        what = f"Value of {words.name(parent)} that the row holds for."
        return word(column, what, [*words.values(parent), ANY])
    if column == "median":
        return number(column, f"Median{unit}.", 0)
    if column == "spread":
        return number(column, "Factor within which 68 % lie on either side of the median.", 1, 20)
    return _knot(column, [*GRADES, ANY])


def _confusion(place: Place, column: str, words: Words) -> Field | None:
    if column == "method":
        return word(column, "How it was looked at.", words.values("method"))
    if column == "true":
        return word(column, "What it is in truth.", words.values(place.family))
    meanings = words.meanings.get(place.family, {})
    return share(column, meanings[column]) if column in meanings else None


def _top(place: Place, column: str, words: Words) -> Field | None:
    """A column of a file at the top of the folder."""
    own: dict[str, Callable[[str, Words], Field | None]] = {
        "vocabulary": _vocabulary,
        "families": _families,
        "channels": _channels,
        "makers": _makers,
        "medium_rules": _medium_rules,
        "medium_together": _medium_together,
        "year_museum": _year_museum,
        "law_limits": evidence.law_limits,
        "disagreement_reasons": evidence.disagreement_reasons,
        "built_from": evidence.built_from,
        "information": _information,
        "checks": _checks,
        **LABEL,
    }
    table = own.get(place.family)
    if table is not None:
        return table(column, words)
    if place.family not in _PLAIN:
        return None
    if place.family in ("grades", "markets") and column in (*GRADES, *MARKETS):
        return share(column, f"Pieces of the {'tier' if column in GRADES else 'market'} {column}")
    if place.family == "survival" and column in GRADES:
        return share(column, f"Pieces made in the tier {column} that are still about")
    if place.family == "year_channel" and column not in ("year", "uncertainty"):
        return number(column, f"Factor on the museum density in the channel {column}.", 0)
    if place.family == "lags" and column != "lag":
        return number(column, "Weight, of any scale.", 0)
    if column == "altered":
        return share(column, "Of the slips, the part that is a piece altered or a part replaced.")
    if column == "rate" or (place.family, column) == ("revivals", "share"):
        return share(column, "")
    fields = {
        "family": word(column, "Family of clues.", [*words.families]),
        "channel": text(column, "Key that channels.csv refers to."),
        "what": text(column, "What the number is for."),
        "unit": text(column, "Unit of the number."),
        "lag": integer(column, "Years later.", -99, 999),
        "value": number(column, "The number.", 0),
        "weight": number(column, "Weight, of any scale.", 0),
        "uncertainty": number(column, "Factor by which the row may be off.", 0),
    }
    return fields.get(column) or _knot(column, GRADES)


def _year_museum(column: str, words: Words) -> Field | None:
    if column not in MUSEUM_COLUMNS or column == "records":
        return _knot(column, GRADES)
    kind, end = column, ""
    for band in ("lower", "upper"):
        if column.endswith(band):
            kind, end = column.removesuffix(band).rstrip("_") or MUSEUM_KINDS[0], band
    of = _OF_KIND[kind]
    what = f"{end.capitalize()} 80 % end of the density" if end else "Density"
    return number(column, f"{what} of {of}, in per cent a year.", 0)


def _vocabulary(column: str, words: Words) -> Field | None:
    reading = "A value itself, a synonym, one of several values, or nothing seen."
    fields = {
        "family": text(column, "Family the word belongs to."),
        "word": text(column, "The word as a person writes it."),
        "reading": word(column, reading, _READINGS),
        "means": text(column, "Meaning of a value; else what the word is read as.", False),
    }
    return fields.get(column)


def _families(column: str, words: Words) -> Field | None:
    if column == "kind":
        return word(column, "How the family is weighed.", KINDS)
    if column == "reads":
        return word(column, "Whether it tells of the making or of the style.", READS)
    numbers = {
        "low": "Least possible number.",
        "high": "Greatest possible number.",
        "usual_low": "Least usual number; below it a warning is given.",
        "usual_high": "Greatest usual number; above it a warning is given.",
        "step": "Factor between neighbouring cells of the measure.",
        "worth": "How many sold records weigh as much as the table of the family.",
    }
    if column == "trust":
        return number(
            column, "Power to which what the family says is raised.", 0, 1, required=False
        )
    if column in numbers:
        return number(column, numbers[column], 0, required=False)
    texts = {
        "family": "Name of the family, as a column is headed.",
        "parent": "Family whose value a measure goes with.",
        "name": "Name as a person reads it.",
        "unit": "Unit of the measure.",
        "unstated": "Values that records pass over in silence, parted by |.",
    }
    required = column in ("family", "name")
    return text(column, texts[column], required) if column in texts else None


def _channels(column: str, words: Words) -> Field | None:
    if column == "records":
        what = "Column of year_museum.csv that holds for it; empty for density."
        return word(column, what, MUSEUM_KINDS, required=False)
    if column == "tables":
        what = "Folder of the tables of clues that it has of its own; empty for the usual ones."
        return text(column, what, False)
    texts = {
        "channel": "Name of the channel.",
        "years": "Column of year_channel.csv that holds for it.",
        "grades": "Key of grades.csv that holds for it.",
        "markets": "Key of markets.csv that holds for it.",
        "description": "What the channel is.",
    }
    return text(column, texts[column]) if column in texts else None


def _makers(column: str, words: Words) -> Field | None:
    fields = {
        "maker": text(column, "Name of the maker."),
        "form": word(column, "Form of the signature.", [*words.values("signature"), ANY]),
        "what": word(column, "What the years are.", WHAT),
        "year_from": year(column, "First year."),
        "year_to": year(column, "Last year."),
        "rate": number(column, "Output a year, relative to the maker's other rows.", 0),
        "edge_years": number(column, "Years in which output falls by half outside the window.",
                              0.1, 50),
    }  # fmt: skip
    return fields.get(column)


def _checks(column: str, words: Words) -> Field | None:
    fields = {
        "family": word(column, "Family of clues.", [*words.families]),
        "method": word(column, "How it is looked at.", words.values("method")),
        "minutes": number(column, "Minutes that it takes.", 0),
        "least_bits": number(column, "Bits that it has to promise before it is offered.", 0, 10),
        "loss": share(column, "Of what the piece is worth, the part that the harm costs."),
        "needs": word(column, "What it needs.", [n for n in NEEDS if n], required=False),
        "harms": word(column, "Whether it harms the piece.", ["yes", "no"]),
        "caution": text(column, "What to take care of.", False),
    }
    return fields.get(column)


def _information(column: str, words: Words) -> Field | None:
    chance = (
        "Bits less the mean of what tables of the same worth say that do not move over the years."
    )
    zero = "Whether the lower tenth of the bits lies at or below what chance gives."
    fields = {
        "family": word(column, "Family of clues.", [*words.families]),
        "grade": word(column, "Price tier that is known; all: none is.", [*GRADES, "all"]),
        "bits": number(column, "Bits about the decade of making that one note carries.", 0),
        "lower": number(column, "Lower 80 % end of the bits.", 0),
        "upper": number(column, "Upper 80 % end of the bits.", 0),
        "beyond_chance": number(column, chance),
        "reaches_zero": word(column, zero, ["yes", "no"]),
    }
    return fields.get(column)


def _medium_rules(column: str, words: Words) -> Field | None:
    shares = words.of_shares()
    family = "Family that the phrase speaks of, or how that was looked at; else empty."
    gives = (
        "A value, a parent word, or weights of these as JSON; what a connecting word does; or the "
        "method of looking."
    )
    fields = {
        "phrase": text(column, "Words of a medium text; case, accents and hyphens do not count."),
        "language": text(column, "Language of the phrase (ISO 639-1), or any."),
        "family": word(column, family, [*shares, *(f"{name}_method" for name in shares)],
                       required=False),
        "gives": text(column, gives),
    }  # fmt: skip
    return fields.get(column)


def _medium_together(column: str, words: Words) -> Field | None:
    fields = {
        "family": word(column, "Family of the words.", words.of_shares()),
        "words": text(column, "Values or parent words, with | between them; any for all."),
        "beside": text(column, "Words beside which the row holds, written the same way."),
        "gives": text(column, "yields where the words give way; else the value they come to."),
    }
    return fields.get(column)


_KNOWN: dict[str, Callable[[Place, str, Words], Field | None]] = {
    "": _top,
    "shares": _shares,
    "measured": _measured,
    "confusion": _confusion,
    "trade": evidence.trade,
    "museum": evidence.museum,
}
