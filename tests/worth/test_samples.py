"""What samples of prices are made of: each part by itself beside plain arithmetic, and the words and numbers shown."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from types import MappingProxyType

import numpy as np
import pytest
from scipy.stats import ks_2samp

from scarfdate import Priors, RangeError, WordError, load_priors
from scarfdate.conventions import GRADES, Array
from scarfdate.worth.coefficients import Coefficients
from scarfdate.worth.pieces import Pieces, Value
from scarfdate.worth.price_samples import PriceSamples, own_generators, strata
from scarfdate.worth.prices import Prices
from scarfdate.worth.reference import Reference, season_of
from scarfdate.worth.sampling import _Where
from scarfdate.worth.terms import Terms
from tests.worth.known_sales import known_pieces
from tests.worth.stated import REFERENCE, prices
from tests.worth.test_prices import AS_OF

N = 4000


def by_table(pieces: Pieces, effects: dict[tuple[str, str], float], name: str, of: Array) -> Array:
    return np.array([effects.get((name, word), 0.0) for word in pieces.values[name].words])[of]


def one_piece(seed: int = 0, **changed: object) -> Pieces:
    """A piece of which everything is certain."""
    return replace(known_pieces(1, np.random.default_rng(seed)), **changed)


def stated(effects: dict[tuple[str, str], float], **more: object) -> Prices:
    return Prices.stated(effects, **({"sigma": 0.0} | more))  # type: ignore[arg-type]


def mean_and_sd(found: Prices, pieces: Pieces, **how: object) -> tuple[float, float]:
    log = found.samples(pieces, n=N, **how).log_price[0]  # type: ignore[arg-type]
    return float(log.mean()), float(log.std())


# ------------------------------------------------------------------ each part of a price


def test_what_is_expected_is_the_sum_of_the_effects_of_what_was_drawn() -> None:
    effects = {
        ("base", ""): 3.0, ("size", ""): 0.4, ("condition", ""): 1.2, ("fibre", "silk"): 0.5, ("fibre", "wool"): -0.2,
        ("hem", "hand-rolled"): 0.3, ("form", "square"): 0.1, ("decade", "1930"): 0.6, ("decade", "1960"): 0.2,
        ("grade", "fine"): 0.4, ("maker", "arventhra"): 0.7,
    }  # fmt: skip
    days = {
        ("base", ""): 4.0, ("asked", ""): 1.5, ("decade", "1930"): 0.3, ("decade", "1960"): -0.1, ("fibre", "silk"): 0.2,
    }  # fmt: skip
    reference = Reference(area=(8.5, 0.0))
    found = stated(effects, days=days, reference=reference)
    seen = {"motif": "dots", "width_cm": 85, "height_cm": 85, "maker": "Arventhra"}
    pieces = Pieces.of([seen, {**seen, "fibre": "wool"}], [None, Faulty(-0.3)], as_of=AS_OF)
    got = found.samples(pieces, n=500)
    for row in range(2):
        decades = pieces.decades[got.cell[row] // len(GRADES)]
        grade = np.array(GRADES)[got.cell[row] % len(GRADES)]
        # of a decade of which nothing was sold, what the nearest has; of two as near, the first
        nearest = np.where(decades <= 1940, 1930, 1960)
        expected = 3.0 + np.where(nearest == 1930, 0.6, 0.2) + 0.4 * (grade == "fine")
        expected = expected + 0.4 * (pieces.log_area[row] - 8.5) + 0.7 - (0.36 if row else 0.0)
        for name in ("fibre", "hem", "form"):
            expected = expected + by_table(pieces, effects, name, got.value[name][row])
        np.testing.assert_allclose(got.log_fair[row], expected)
        np.testing.assert_allclose(got.log_price[row], expected)
        assert got.days_location is not None
        wait = 4.0 + np.where(nearest == 1930, 0.3, -0.1)
        wait = wait + by_table(pieces, days, "fibre", got.value["fibre"][row])
        np.testing.assert_allclose(got.days_location[row], wait)
    assert got.days_slope is not None and (got.days_slope == 1.5).all()


class Faulty:
    """A condition that keeps a part of the price, for sure."""

    def __init__(self, log_kept: float) -> None:
        self.log_kept, self.log_sd = log_kept, 0.0


def test_cells_and_values_are_drawn_as_likely_as_they_are() -> None:
    """4,000 draws in as many strata: shares of decades and grades to 1 in 1,000, of fibres to four standard errors."""
    pieces = Pieces.of({"motif": "dots"}, as_of=AS_OF)
    got = stated({("base", ""): 3.0}).samples(pieces, n=N)
    share = np.bincount(got.cell[0], minlength=pieces.cells.shape[1]) / N
    np.testing.assert_allclose(share, pieces.cells[0], atol=1e-3)
    fibre = pieces.values["fibre"]
    chance = pieces.cells[0] @ fibre.chances[0]
    drawn = np.bincount(got.value["fibre"][0], minlength=len(fibre.words)) / N
    assert (np.abs(drawn - chance) < 4 * np.sqrt(chance * (1 - chance) / N) + 1e-3).all()


def test_a_draw_at_the_very_end_is_of_the_last_value() -> None:
    """The largest number below one, added to a large one, is the next whole one."""
    pieces = known_pieces(1, np.random.default_rng(0))
    last = np.zeros((1, 9, 3))
    last[:, :, 2] = 1.0
    where = _Where(replace(pieces, values={"fibre": Value(("a", "b", "c"), last)}))

    class End:
        def random(self, n: int) -> Array:
            return np.full(n, np.nextafter(1.0, 0.0))

    cells = np.arange(9)
    assert where.value("fibre", 0, cells, End()).tolist() == [2] * 9  # type: ignore[arg-type]
    one = _Where(replace(pieces, cells=np.full((1, 9), 1 / 9)))
    assert one.cell(0, np.array([0.0, np.nextafter(1.0, 0.0), 1.0])).tolist() == [0, 8, 8]


def test_size_and_condition_that_nobody_noted_are_those_of_the_book() -> None:
    bare = one_piece(log_area=np.array([np.nan]), log_kept=np.array([np.nan]))
    sized = stated({("size", ""): 0.5}, reference=Reference(area=(8.0, 0.6)))
    assert mean_and_sd(sized, bare) == pytest.approx((0.0, 0.3), abs=2e-3)
    assert mean_and_sd(sized, replace(bare, log_area=np.array([9.0]))) == pytest.approx((0.5, 0.0))
    worn = stated({("condition", ""): 2.0}, reference=Reference(kept=(-0.5, -0.1, 0.0, 0.0)))
    log = worn.samples(bare, n=N).log_price[0]
    values, many = np.unique(log, return_counts=True)
    assert values == pytest.approx([-1.0, -0.2, 0.0]) and many.tolist() == [N / 4, N / 4, N / 2]
    # noted: its loss times a log-normal factor of mean one
    sure = replace(bare, log_kept=np.array([-0.4]))
    spread = stated({("condition", ""): 2.0}, reference=Reference(loss_spread=0.3))
    mean, sd = mean_and_sd(spread, sure)
    assert mean == pytest.approx(-0.8, rel=1e-2)
    assert sd == pytest.approx(0.8 * np.sqrt(np.expm1(0.09)), rel=2e-2)


def test_residuals_are_student_t_and_cut_at_the_largest() -> None:
    rng = np.random.default_rng(3)
    for nu, plain in ((5.0, rng.standard_t(5, 20_000)), (np.inf, rng.normal(size=20_000))):
        found = stated({("base", ""): 3.0}, sigma=0.2, nu=nu)
        log = found.samples(one_piece(), n=N).log_price[0]
        assert ks_2samp((log - 3.0) / 0.2, plain).pvalue > 1e-3
    cut = stated({("base", ""): 3.0}, sigma=0.2, nu=3.0, reference=Reference(largest_residual=2.0))
    log = cut.samples(one_piece(), n=N).log_price[0]
    assert (log.min(), log.max()) == pytest.approx((2.6, 3.4))


def several(part: Coefficients, spread: dict[str, float]) -> Coefficients:
    return replace(part, spread=MappingProxyType({n: np.array([s]) for n, s in spread.items()}))


def test_makers_and_years_without_sales_are_as_any_may_be() -> None:
    """Of a name without sales, what makers differ by; of a year, the nearest, give or take what years differ by."""
    effects = {
        ("maker", "a"): 0.5,
        ("maker", ""): -0.1,
        ("year", "2023"): 0.1,
        ("year", "2025"): 0.3,
    }
    found = stated(effects, reference=Reference(year="2025"))
    found = replace(found, price=several(found.price, {"maker": 0.4, "year": 0.2}))
    assert mean_and_sd(found, one_piece(maker=("a",))) == pytest.approx((0.8, 0.0))
    assert mean_and_sd(found, one_piece(maker=("",))) == pytest.approx((0.2, 0.0))
    assert mean_and_sd(found, one_piece(maker=("b",))) == pytest.approx((0.3, 0.4), abs=0.03)
    two = [found.samples(one_piece(maker=(name,)), n=N).log_price[0] for name in "bc"]
    assert abs(np.corrcoef(two)[0, 1]) < 0.08  # each name is its own
    plain = one_piece(maker=("a",))
    for when, mean, sd in (
        (2023, 0.6, 0.0),
        (date(2025, 5, 1), 0.8, 0.0),
        (2031, 0.8, 0.2),
        (1999, 0.6, 0.2),
    ):
        assert mean_and_sd(found, plain, when=when) == pytest.approx((mean, sd), abs=0.015)
    without = replace(found, price=several(found.price, {}))
    assert mean_and_sd(without, one_piece(maker=("b",))) == pytest.approx((0.3, 0.0))


def test_channel_and_season_are_the_stated_ones_or_as_the_book_has_them() -> None:
    effects = {
        ("channel", "fair"): 1.0,
        ("channel", "online"): -1.0,
        ("season", "summer"): 0.2,
        ("season", "winter"): 0.6,
    }
    days = {("base", ""): 3.0, ("channel", "fair"): 0.5, ("season", "winter"): 0.25}
    returns = {("base", ""): -2.0, ("channel", "online"): 1.0}
    found = stated(effects, days=days, returns=returns, reference=REFERENCE)
    piece = one_piece()

    def of(**how: object) -> tuple[Array, Array, Array]:
        got = found.samples(piece, n=N, **how)  # type: ignore[arg-type]
        assert got.days_location is not None and got.returned is not None
        return (
            got.log_price[0],
            got.days_location[0],
            np.log(got.returned[0] / (1 - got.returned[0])),
        )

    price, location, odds = of(channel="fair", season="winter")
    assert (price, location, odds) == (pytest.approx(1.6), pytest.approx(3.75), pytest.approx(-2.0))
    price, location, odds = of(channel="online", when=date(2026, 7, 3))
    assert (price, location, odds) == (pytest.approx(-0.8), pytest.approx(3.0), pytest.approx(-1.0))
    assert of(channel="fair", season=1)[0] == pytest.approx(1.6)
    # the season that is said goes before that of the day
    assert of(channel="fair", season="summer", when=date(2026, 1, 3))[0] == pytest.approx(1.2)
    drawn = of()[0]
    assert (drawn > 0.9).mean() == pytest.approx(0.4, abs=0.04)  # fairs, by the book
    for place, add in ((1.0, 0.2), (1.0, 0.6), (1.0, 0.0), (-1.0, 0.6)):
        share = 0.25 * (0.4 if place > 0 else 0.6) * (2 if add == 0 else 1)
        assert np.isclose(drawn, place + add).mean() == pytest.approx(share, abs=0.03)


def test_an_index_is_that_of_the_last_sale() -> None:
    found = stated({("base", ""): 3.0}, reference=Reference(log_index=0.25))
    assert mean_and_sd(found, one_piece()) == pytest.approx((3.25, 0.0))


def test_days_of_priors_that_know_no_fibre(priors: Priors) -> None:
    """The other parts of a wait hold: what is not there adds nothing."""
    days = {("base", ""): 4.0, ("asked", ""): 1.5, ("decade", "1950"): 0.3}
    found = stated({("base", ""): 3.0}, days=days)
    got = found.samples(one_piece(values={}), n=20)
    assert got.days_location == pytest.approx(4.3)


@pytest.fixture
def priors() -> Priors:
    return load_priors()


def test_a_season_is_its_name_or_a_month() -> None:
    months = [season_of(month) for month in range(1, 13)]
    assert months == ["winter"] * 2 + ["spring"] * 3 + ["summer"] * 3 + ["autumn"] * 3 + ["winter"]
    assert season_of("autumn") == "autumn"
    for wrong in (0, 13, -1, True, "may", 1.0, None):
        with pytest.raises(WordError, match=r"season: winter, spring, summer, autumn or a month"):
            season_of(wrong)  # type: ignore[arg-type]


def test_the_seasons_after_one_are_the_other_three_in_their_order(priors: Priors) -> None:
    def later(season: str | None) -> list[str]:
        terms = Terms.of(
            None, prices(), priors=priors, channel="thrift", as_of=AS_OF, sale_channel=None, season=season, risk=0.2
        )  # fmt: skip
        found = list(terms.later())
        assert all(then.season == name and then.prices is terms.prices for name, then in found)
        return [name for name, _ in found]

    assert later("summer") == ["autumn", "winter", "spring"]
    assert later("winter") == ["spring", "summer", "autumn"]
    assert later("autumn") == ["winter", "spring", "summer"]
    assert later(None) == []


# ------------------------------------------------------------------ draws and days


def test_every_draw_is_used_in_turn() -> None:
    """Three draws of a coefficient: a third of the samples each; and one of them alone, as if it were known."""
    one = stated({("base", ""): 3.0}, days={("base", ""): 4.0}, returns={("base", ""): -2.0})

    def thrice(part: Coefficients | None) -> Coefficients:
        assert part is not None
        shape = {name: np.repeat(values, 3) for name, values in part.shape.items()}
        return replace(part, draws=part.draws + np.array([[0.0], [0.1], [0.2]]), shape=shape)

    found = replace(
        one, price=thrice(one.price), days=thrice(one.days), returns=thrice(one.returns)
    )
    got = found.samples(one_piece(), n=7)
    np.testing.assert_allclose(got.log_price[0], 3.0 + np.array([0, 1, 2, 0, 1, 2, 0]) / 10)
    last = found.one_draw(5).samples(one_piece(), n=7)  # the third, counted on from the first
    assert last.log_price == pytest.approx(3.2) and last.days_location == pytest.approx(4.2)
    for wrong in (True, 1.5, "two", 10**10):
        with pytest.raises(RangeError, match="place: the number of a draw"):
            found.one_draw(wrong)  # type: ignore[arg-type]


def test_days_rise_with_what_is_asked_by_the_law() -> None:
    samples = PriceSamples(
        log_price=np.zeros((2, 3)), log_fair=np.array([[3.0, 3.1, 3.2], [2.0, 2.1, 2.2]]),
        cell=np.zeros((2, 3), np.intp), value={}, days_location=np.array([[4.0, 4.1, 4.2], [5.0, 5.1, 5.2]]),
        days_slope=np.array([1.0, 2.0, 3.0]), days_shape=np.array([1.0, 2.0, 0.5]),
        days_uniform=np.array([[0.5, 0.1, 0.9], [0.2, 0.3, 0.4]]), returned=None, currency="EUR", invented=False,
    )  # fmt: skip
    for asked in (np.array([3.0, 2.0]), np.array([[3.0, 3.5, 4.0], [2.0, 2.0, 2.5]]), 2.5):
        got = samples.days(asked)  # type: ignore[arg-type]
        for row in range(2):
            for s in range(3):
                each = np.broadcast_to(asked[:, None] if np.ndim(asked) == 1 else asked, (2, 3))[
                    row, s
                ]
                location = samples.days_location[row, s] + samples.days_slope[s] * (
                    each - samples.log_fair[row, s]
                )
                wait = np.exp(location) * (-np.log(samples.days_uniform[row, s])) ** (
                    1 / samples.days_shape[s]
                )
                assert got[row, s] == pytest.approx(wait)
    for name in ("days_location", "days_slope", "days_shape", "days_uniform"):
        with pytest.raises(ValueError, match="no days"):
            replace(samples, **{name: None}).days(2.5)  # type: ignore[arg-type]


def test_strata_hold_one_number_each(rng: np.random.Generator) -> None:
    found = strata(rng, 3, 50)
    assert (np.sort(np.floor(found * 50), axis=1) == np.arange(50)).all()
    assert len(np.unique(found)) == 150
    assert (np.argsort(found[0]) != np.argsort(found[1])).any()


def test_random_numbers_belong_to_what_was_noted() -> None:
    pieces = known_pieces(1, np.random.default_rng(4)).take([0, 0, 0, 0])
    pieces = replace(
        pieces,
        log_kept=np.array([-0.5, 0.0, np.nan, -0.1]),
        log_area=np.array([1e-9, -1e-9, 0.0, -0.0]),
    )

    def first(of: Pieces, **how: bool) -> list[float]:
        return [rng.random() for rng in own_generators(of, 3, **how)]

    each = first(pieces)
    assert len(set(each)) == 4  # like pieces, each with its own
    assert (
        first(pieces, alone=True) == [each[2]] * 4
    )  # nobody looked: it comes first, then the best
    assert first(pieces.take([2, 1, 3, 0])) == [each[2], each[1], each[3], each[0]]
    assert first(pieces.take([2, 1])) == [each[2], each[1]]
    assert first(replace(pieces, maker=("x",) * 4))[0] != each[0]
    alike = replace(pieces, log_kept=np.zeros(4), ids=("d", "c", "b", "a"))
    assert first(alike) == first(alike.take([3, 2, 1, 0]))[::-1]


# ------------------------------------------------------------------ what is shown


def test_what_is_learned_and_drawn_is_shown_in_a_line() -> None:
    found = prices()
    for one in (found, found.price, found.days, found.samples(one_piece())):
        assert (
            "array" not in repr(one)
            and "Coefficients(" not in repr(one)[1:]
            and len(repr(one)) < 500
        )
    # of coefficients alone: one's own, of no sales, with nothing known of days and returns
    bare = Prices(price=found.price, reference=Reference())
    assert (bare.invented, bare.days, bare.returns, bare.notes, len(bare.counts)) == (
        False,
        None,
        None,
        (),
        0,
    )
    assert (bare.n_sold, bare.n_unsold, bare.currency) == (0, 0, "")
    assert "INVENTED" not in str(bare) and (bare.effects()["sold"] == 0).all()
    assert bare.samples(one_piece()).returned is None


def test_what_is_said_of_effects_is_their_percentage() -> None:
    effects = {("base", ""): 3.0, ("size", ""): 0.5, ("condition", ""): 2.0}
    effects |= {
        ("fibre", name): value
        for name, value in zip("abcdefgh", np.linspace(0.4, -0.3, 8), strict=True)
    }
    counts = np.array([80.0, 80, 80, *[10] * 8])
    reference = Reference(currency="EUR", n_sold=80, n_unsold=7, uncertainty=(0.04, 0.05, 0.07))
    found = replace(stated(effects, reference=reference), counts=counts)
    text = str(found)
    assert "twice the area: +41 % (+41 % to +41 %)" in text  # 2 ** 0.5
    assert "halve a price: −75 % to −75 %" in text  # 0.5 ** 2
    line = next(one for one in text.splitlines() if "fibre" in one)
    named = [part.split()[0] for part in line.removeprefix("- fibre: ").split("; ")]
    assert named == ["a", "b", "c", "f", "g", "h"] and "a +42 %" in line  # exp(0.4 - 0.05)
    # the 80 % interval of a normal law, 1.2816 standard deviations to both sides
    assert (
        "ends 2.8 times as high as it begins" in text
        and "up to 25 % of" in text
        and "up to 31 %" in text
    )
    frame = found.effects().set_index(["group", "level"])
    assert frame.loc[("fibre", "a"), "mean"] == pytest.approx(0.35)
    assert frame.loc[("size", ""), "mean"] == 0.5 and frame.loc[("fibre", "h"), "sold"] == 10
    few = replace(found, counts=np.where(np.arange(11) == 3, 4.9, counts))
    assert "a +" not in next(one for one in str(few).splitlines() if "fibre" in one)
