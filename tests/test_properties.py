"""What must hold for every scarf that can be written down."""

from __future__ import annotations

import math
import pickle
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from scarfdate import Scarf, date_scarf, date_table, load_priors
from scarfdate.tables.knots import interpolate_shares
from tests.random_scarves import random_clues, row_of

PRIORS = load_priors()
AS_OF = 2026
SHARES = sorted(name for name, family in PRIORS.families.items() if family.kind == "shares")

usual = settings(
    deadline=None,
    derandomize=True,
    max_examples=50,
    suppress_health_check=[HealthCheck.too_slow],
)
clues = st.integers(0, 2**32 - 1).map(
    lambda seed: random_clues(PRIORS, np.random.default_rng(seed), AS_OF)
)


@cache
def jsonschema_of_scarves() -> Any:
    from jsonschema import Draft202012Validator  # here, for it takes seconds to import

    return Draft202012Validator(Scarf.json_schema())


def dated(seen: dict[str, Any]) -> Any:
    return date_scarf(Scarf(**seen), as_of=AS_OF)


@usual
@given(clues)
def test_everything_is_a_probability(seen: dict[str, Any]) -> None:
    found = dated(seen)
    for chances in (
        found.probability,
        [*found.grade.values()],
        [*found.market.values()],
        [*found.decades().values()],
    ):
        values = np.asarray(chances)
        assert np.isfinite(values).all() and (values >= 0).all()
        assert values.sum() == pytest.approx(1, abs=1e-12)
    assert 0 <= found.period_probability <= 1 and 0 < found.predictive_p <= 1
    assert all(math.isfinite(weight) for weight in found.weights().values())
    assert found.style_years().sum() == pytest.approx(1)


@pytest.mark.slow
@usual
@given(clues, st.randoms(use_true_random=False))
def test_order_of_keywords_and_columns_never_matters(seen: dict[str, Any], chance: Any) -> None:
    names = list(seen)
    chance.shuffle(names)
    other = {name: seen[name] for name in names}
    assert Scarf(**other) == Scarf(**seen)
    assert np.array_equal(dated(other).probability, dated(seen).probability)
    row = row_of(seen)
    columns = list(row)
    chance.shuffle(columns)
    one, two = pd.DataFrame([row]), pd.DataFrame([row])[columns]
    _, p = date_table(one, as_of=AS_OF, with_years=True)
    _, q = date_table(two, as_of=AS_OF, with_years=True)
    assert np.array_equal(p, q)


@usual
@given(clues, st.sampled_from(SHARES), st.sampled_from([None, "", " ", float("nan"), "?"]))
def test_a_clue_not_looked_at_changes_nothing(
    seen: dict[str, Any], name: str, blank: object
) -> None:
    without = {n: v for n, v in seen.items() if n not in (name, "methods")}
    assert np.array_equal(dated(without).probability, dated(without | {name: blank}).probability)


@usual
@given(clues, st.sampled_from(SHARES), st.data())
def test_all_weight_on_one_value_is_the_value(seen: dict[str, Any], name: str, data: Any) -> None:
    assume(name not in ("label", "label_make"))
    word = data.draw(st.sampled_from(PRIORS.vocabulary.values[name]))
    assert Scarf(**seen | {name: {word: 1}}) == Scarf(**seen | {name: word})


@usual
@given(st.sampled_from(SHARES), st.data(), st.floats(0.01, 0.99))
def test_weights_lie_between_their_parts(name: str, data: Any, weight: float) -> None:
    words = data.draw(
        st.lists(
            st.sampled_from(PRIORS.vocabulary.values[name]), min_size=2, max_size=2, unique=True
        )
    )
    prior = date_scarf(Scarf(), as_of=AS_OF).probability

    def ratio(value: object) -> Any:
        found = dated({name: value})
        return found.probability / prior

    one, two = ratio(words[0]), ratio(words[1])
    mixed = ratio({words[0]: weight, words[1]: 1 - weight})
    # in each year the mixture is a blend of the two, with a factor of its own that is the same every year
    low, high = np.minimum(one, two), np.maximum(one, two)
    assert (mixed >= low * (1 - 1e-9)).all() and (mixed <= high * (1 + 1e-9)).all()
    spread = two - one
    wide = np.abs(spread) > 1e-3
    assume(wide.any())
    share = (mixed - one)[wide] / spread[wide]
    assert np.ptp(share) < 1e-6 and share.min() >= 0 and share.max() <= 1


@usual
@given(clues)
def test_a_row_is_a_scarf(seen: dict[str, Any]) -> None:
    found = dated(seen)
    table, p = date_table(pd.DataFrame([row_of(seen)]), as_of=AS_OF, with_years=True)
    row = table.iloc[0]
    assert pd.isna(row["errors"])
    assert np.abs(p[0] - found.probability).max() < 1e-12
    assert (row["year_from"], row["year_to"]) == found.interval()
    assert row["median_year"] == found.median
    for name in ("edtf", "sentence", "decade"):
        assert row[name] == getattr(found, name)
    assert row["predictive_p"] == pytest.approx(found.predictive_p, abs=1e-6)
    said = set() if pd.isna(row["warnings"]) else set(row["warnings"].split("; "))
    assert said == set("; ".join(found.warnings).split("; ")) - {""}


@usual
@given(clues)
def test_round_trips(seen: dict[str, Any]) -> None:
    scarf = Scarf(id="a1", note="a \u00e9 note", **seen)
    others = [
        Scarf.from_dict(scarf.to_dict()),
        Scarf.from_json(scarf.to_json()),
        Scarf.from_dict(scarf.to_row()),
        Scarf.from_dict(pd.DataFrame([scarf.to_row()]).iloc[0].to_dict()),
        pickle.loads(pickle.dumps(scarf)),
    ]
    for other in others:
        assert other == scarf and hash(other) == hash(scarf)
    assert Scarf(id="a2", **seen) != scarf


@usual
@given(clues)
def test_the_schema_takes_what_a_scarf_gives(seen: dict[str, Any]) -> None:
    schema = jsonschema_of_scarves()
    schema.validate(Scarf(id="x", **seen).to_dict())


def test_the_schema_refuses_what_a_scarf_refuses() -> None:
    schema = jsonschema_of_scarves()
    for wrong in ({"fibre": 3}, {"momme": -1}, {"no_such": "x"}, {"width_cm": 0}):
        assert not schema.is_valid(wrong)
        with pytest.raises(ValueError):
            Scarf(**wrong)


@usual
@given(st.lists(clues, min_size=2, max_size=6), st.randoms(use_true_random=False))
def test_order_and_index_of_rows(many: list[dict[str, Any]], chance: Any) -> None:
    index = [f"lot {place}" for place in range(len(many))]
    frame = pd.DataFrame([row_of(seen) for seen in many], index=index)
    order = list(range(len(many)))
    chance.shuffle(order)
    table, p = date_table(frame, as_of=AS_OF, with_years=True)
    shuffled, q = date_table(frame.iloc[order], as_of=AS_OF, with_years=True)
    assert list(table.index) == index and list(shuffled.index) == [index[i] for i in order]
    assert np.abs(p[order] - q).max() < 1e-13
    left, right = table.iloc[order], shuffled
    for name in table.columns:
        if name in ("predictive_p", "period_probability", "decade_probability"):
            # weighing is in single precision, and sums in another order differ in their last digits
            assert np.abs(left[name].astype(float) - right[name].astype(float)).max() < 1e-6
        else:
            assert (
                left[name].fillna("").tolist() == right[name].fillna("").tolist()
                if left[name].dtype == "string"
                else left[name].tolist() == right[name].tolist()
            )


@usual
@given(st.floats(1e-6, 1e6), st.integers(0, 2**32 - 1))
def test_the_scale_of_shares_never_matters(factor: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    knots, shares = np.array([1880.0, 1900.0, 1950.0]), rng.random((3, 5))
    at = np.arange(1880.0, 1960.0)
    one, two = interpolate_shares(knots, shares, at), interpolate_shares(knots, shares * factor, at)
    assert np.allclose(one, two, rtol=1e-12, atol=0)
    assert np.allclose(one.sum(axis=0), 1, rtol=1e-12)


def test_the_index_is_kept_even_where_it_repeats() -> None:
    frame = pd.DataFrame({"fibre": ["silk", "wool"]}, index=pd.Index([7, 7], name="lot"))
    assert date_table(frame).index.equals(frame.index)
