"""A listing as a record in the terms of schema.org: a Product with its measures, its age and its faults.

The date is ISO 8601-2 text (EDTF) in a PropertyValue, for the terms that schema.org has for dates take a day
or a year, not an interval that is four in five sure. Units are codes of UN/ECE Recommendation 20: CMT
centimetre, INH inch, MMT millimetre, P1 per cent. No maker, brand or country is in it.
"""

from __future__ import annotations

from collections.abc import Iterator

from scarfdate.clues.sides import SIZE
from scarfdate.conventions import FIRST_YEAR
from scarfdate.show.terminal import clean
from scarfdate.words.edtf import interval_text
from scarfdate.words.units import CM_PER_INCH
from scarfdate.worth.clauses import Clauses
from scarfdate.worth.condition import Condition
from scarfdate.worth.phrasing import FIBRE

_EDTF = "https://www.loc.gov/standards/datetime/"
_USED = "https://schema.org/UsedCondition"
_DAMAGED = "https://schema.org/DamagedCondition"


def product(
    clauses: Clauses, name: str, description: str, condition: Condition | None
) -> dict[str, object]:
    """The record; a piece of which only the cloth is left is damaged, any other used."""
    scarf = clauses.scarf
    record: dict[str, object] = {
        "@context": "https://schema.org",
        "@type": "Product",
        "name": name,
        "description": description,
        "itemCondition": _DAMAGED if condition is not None and condition.worthless else _USED,
    }
    if scarf.id:
        record["sku"] = clean(scarf.id)
    material = clauses.say.word(FIBRE, clauses.noted.get(FIBRE))
    if material:  # with how it is known: "silk by feel" is no laboratory's silk
        record["material"] = material
    pattern = clauses.say.word("motif", clauses.noted.get("motif"))
    if pattern:
        record["pattern"] = pattern
    for term in ("width", "height"):
        side = getattr(scarf.seen.get(SIZE), term, None)
        if side is not None:
            record[term] = [_length(side, "CMT"), _length(side / CM_PER_INCH, "INH")]
    record["additionalProperty"] = [*_dated(clauses), *_faults(clauses, condition)]
    return record


def _length(value: float, unit: str) -> dict[str, object]:
    return {"@type": "QuantitativeValue", "value": round(value, 2), "unitCode": unit}


def _dated(clauses: Clauses) -> Iterator[dict[str, object]]:
    dating, years = clauses.dating, clauses.age.years
    if years is not None:
        first, last = years
        made: dict[str, object] = {
            "@type": "PropertyValue",
            "propertyID": _EDTF,
            "name": "date made",
            "value": interval_text(first, last, open_start=first <= FIRST_YEAR),
        }
        if first > FIRST_YEAR:  # it stands for all before it
            made["minValue"] = first
        yield made | {"maxValue": last}
        yield _chance("chance of these years", dating.between(first, last))
    yield _chance("chance of a later piece in an older look", 1 - dating.period_probability)
    if dating.reissue > 0:
        yield _chance("chance of a design printed again later", dating.reissue)


def _chance(name: str, chance: float) -> dict[str, object]:
    percent = round(100 * chance, 1)
    return {"@type": "PropertyValue", "name": name, "value": percent, "unitCode": "P1"}


def _faults(clauses: Clauses, condition: Condition | None) -> Iterator[dict[str, object]]:
    for fault, phrase in condition.words(clauses.say.language) if condition is not None else ():
        found: dict[str, object] = {
            "@type": "PropertyValue",
            "name": "fault",
            "propertyID": fault.kind,
            "value": phrase,
        }
        if fault.size_mm is not None:
            found["valueReference"] = {
                "@type": "QuantitativeValue",
                "value": fault.size_mm,
                "unitCode": "MMT",
            }
        yield found
