"""How the records of learning and of worth are made: unchanged once made, by the names of their fields, and compared
only where comparing means something.

Two arrays compared give an array, so that of a record that holds arrays ``==`` would raise: it is compared by what it
is alone.
"""

from __future__ import annotations

import importlib
import pkgutil
from dataclasses import fields, is_dataclass

RECORDS = {
    f"{room}.{module.name}.{name}": one
    for room in ("learning", "worth")
    for module in pkgutil.iter_modules(importlib.import_module(f"scarfdate.{room}").__path__)
    for name, one in vars(importlib.import_module(f"scarfdate.{room}.{module.name}")).items()
    if is_dataclass(one) and one.__module__ == f"scarfdate.{room}.{module.name}"
}
FILLED = {"worth.book_rows.PieceRow", "worth.fault_words._Draft"}  # while they are read
COMPARED = {  # words and numbers alone
    "learning.trust.Trust", "worth.claims.Claim", "worth.clauses.Clauses", "worth.coefficients.Layout",
    "worth.condition.Condition", "worth.condition.Mend", "worth.costs.Costs", "worth.fault.Fault",
    "worth.keep_or_sell.Keeping", "worth.listing.Listing", "worth.look_first.LookFirst", "worth.phrasing.Phrasing",
    "worth.waiting_rule.Demand", "worth.waiting_rule.Waiting",
}  # fmt: skip
BY_PLACE = {  # so many fields may be given without their names
    "learning.deviations.LagEffect": 1, "worth.coefficients.Layout": 1, "worth.condition.Condition": 1,
    "worth.fault.Fault": 5, "worth.kinds.Kinds": 3, "worth.laws.Bernoulli": 2, "worth.laws.StudentT": 3,
    "worth.laws.Weibull": 3, "worth.pieces.Value": 2, "worth.spread.Spread": 1, "worth.waiting.Waiting": 3,
}  # fmt: skip


def test_none_is_changed_once_it_is_made() -> None:
    assert {name for name, one in RECORDS.items() if not one.__dataclass_params__.frozen} == FILLED


def test_those_that_hold_words_and_numbers_alone_are_compared_by_them() -> None:
    compared = {name for name, one in RECORDS.items() if one.__eq__ is not object.__eq__}
    assert compared - FILLED == COMPARED


def test_fields_are_given_by_their_names() -> None:
    by_place = {name: sum(not f.kw_only for f in fields(one)) for name, one in RECORDS.items()}
    assert {n: many for n, many in by_place.items() if many and n not in FILLED} == BY_PLACE
