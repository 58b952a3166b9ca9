"""Lengths, sizes, stitch counts and weights: as people type them, by definition, by property."""

import math
import time
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scarfdate.errors import ScarfdateError
from scarfdate.words.lengths import CM_PER_INCH
from scarfdate.words.units import (
    GRAMS_PER_SQUARE_METRE_PER_MOMME,
    momme,
    per_inch,
    read_length,
    read_size,
)

LENGTHS: list[tuple[Any, str | None, float]] = [
    (90, "cm", 90),
    (35.5, "in", 90.17),
    (np.float64(90), "cm", 90),
    (np.int64(90), "centimetres", 90),
    ("90", "cm", 90),
    (" 90 ", "CM", 90),
    ("90 cm", None, 90),
    ("90cm", "in", 90),  # a stated unit wins over the default
    ("90 CM.", None, 90),
    ("0.9 m", None, 90),
    (".9 m", None, 90),
    ("0,900 m", None, 90),  # no thousands begin with 0
    ("900 mm", None, 90),
    ("900.0 millimetres", None, 90),
    ("35,5 cm", None, 35.5),
    ('35"', None, 88.9),
    ("35 in", None, 88.9),
    ("35in.", None, 88.9),
    ("35 inches", None, 88.9),
    ("35½ in", None, 90.17),
    ("35 ½ in", None, 90.17),
    ("35½", "in", 90.17),
    ("35⅐ in", None, 35 * 2.54 + 2.54 / 7),
    ("9⅒ in", None, 9.1 * 2.54),
    ("½ in", None, 1.27),
    ("35 1/2 in", None, 90.17),
    ("35-1/2 in", None, 90.17),
    ("35 1⁄2 inches", None, 90.17),
    ("7/8 in", None, 2.2225),
    ("35.5''", None, 90.17),
    ("35.5”", None, 90.17),
    ("35.5″", None, 90.17),
    ("35.5’’", None, 90.17),
    ("3 ft", None, 91.44),
    ("3'", None, 91.44),
    ("1 yd", None, 91.44),
    ("1 yard 4 inches", None, 101.6),
    ("2 ft 11 in", None, 88.9),
    ("2 ft. 11 in.", None, 88.9),
    ("2'11\"", None, 88.9),
    ("2′ 11½″", None, 90.17),
    ("1 m 20 cm", None, 120),
    ("1 yd 2 ft 3 in", None, 160.02),
    ("90\u00a0cm", None, 90),  # a no-break space, as pasted from web pages
]

BAD_LENGTHS: list[tuple[Any, str | None, str]] = [
    ("90", None, "without a unit: got '90'; which one? --unit cm or --unit in"),
    (90, None, "without a unit: got 90; which one"),
    ("", "cm", "cannot read a length"),
    ("big", "cm", "cannot read a length: got 'big'"),
    ("about 90 cm", None, "cannot read a length"),
    ("90 cm wide", None, "cannot read a length"),
    ("90 furlongs", None, "unknown unit 'furlongs'"),
    ("90 inchs", None, "nearest: inch"),
    ("0", "cm", "greater than 0"),
    ("0 cm", None, "greater than 0"),
    ("-5 cm", None, "greater than 0: got '-5 cm'"),
    ("−5 cm", None, "greater than 0"),
    (-5, "cm", "greater than 0"),
    (0, "cm", "greater than 0"),
    (math.nan, "cm", "finite"),
    (math.inf, "cm", "finite"),
    (10**400, "cm", "finite"),
    (1.5e308, "m", "finite"),
    ("nan", "cm", "cannot read a length"),
    ("inf cm", None, "cannot read a length"),
    ("1e3 cm", None, "an exponent: got '1e3 cm'"),
    ("1,000 mm", None, "thousands or decimals"),
    ("35 3/2 in", None, "fraction makes no sense"),
    ("35 1/0 in", None, "fraction makes no sense"),
    ("11/2 in", None, "fraction makes no sense"),
    ("35.5½ in", None, "do not make one length"),
    ("35 90 cm", None, "do not make one length"),
    ("2 ft 14 in", None, "do not make one length"),
    ("2.5 ft 3 in", None, "do not make one length"),
    ("11 in 2 ft", None, "do not make one length"),
    ("2 ft 11", None, "do not make one length"),
    ("2 ft 11 cm", None, "do not make one length"),
    ("90 x 90 cm", None, "unknown unit 'x'"),
    ("９０ cm", None, "cannot read a length"),
    (True, "cm", "must be a number"),
    (None, "cm", "must be a number"),
    ("90", "furlong", "unknown default unit: got 'furlong'"),
]


@pytest.mark.parametrize(("typed", "default", "cm"), LENGTHS)
def test_reads_a_length(typed: Any, default: str | None, cm: float) -> None:
    assert read_length(typed, default) == pytest.approx(cm, rel=1e-12)


@pytest.mark.parametrize(("typed", "default", "words"), BAD_LENGTHS)
def test_refuses_a_length(typed: Any, default: str | None, words: str) -> None:
    with pytest.raises(ScarfdateError) as refusal:
        read_length(typed, default)
    assert words in str(refusal.value)


@pytest.mark.parametrize(
    ("typed", "default", "sides"),
    [
        ("90x90cm", None, (90, 90)),
        ("90 x 180 cm", None, (90, 180)),
        ("180 X 90", "cm", (180, 90)),  # the order typed stays
        ("90 × 90", "cm", (90, 90)),
        ("90 by 90 cm", None, (90, 90)),
        ('35" x 35"', None, (88.9, 88.9)),
        ("35” × 36”", "cm", (88.9, 91.44)),
        ("35½ x 36 in", None, (90.17, 91.44)),
        ("35½ x 36 in", "cm", (90.17, 91.44)),
        ("90 cm x 35 in", None, (90, 88.9)),
        ("2 ft 11 in x 3 ft", None, (88.9, 91.44)),
        ("26 in square", None, (66.04, 66.04)),
        ("90 square", "cm", (90, 90)),
    ],
)
def test_reads_a_size(typed: str, default: str | None, sides: tuple[float, float]) -> None:
    assert read_size(typed, default) == pytest.approx(sides, rel=1e-12)


@pytest.mark.parametrize(
    ("typed", "default", "words"),
    [
        ("90 x 90", None, "without a unit"),
        ("90 cm x 90", "cm", "second side states no unit"),
        ("2 x 2 ft 11 in", "ft", "without a unit"),
        ("90", "cm", "two sides"),
        ("90 x 90 x 2 cm", None, "two sides"),
        ("26 sq in", None, "two sides"),  # an area
        ("90 x cm", None, "cannot read a length"),
        ("x 90 cm", None, "cannot read a length"),
        ("0 x 90 cm", None, "greater than 0"),
        ("90 x -90 cm", None, "greater than 0"),
        ("large", "cm", "two sides"),
        (90, "cm", "must be text"),
        (None, "cm", "must be text"),
    ],
)
def test_refuses_a_size(typed: Any, default: str | None, words: str) -> None:
    with pytest.raises(ScarfdateError) as refusal:
        read_size(typed, default)
    assert words in str(refusal.value)


def test_an_error_shows_at_most_sixty_characters_of_the_text() -> None:
    with pytest.raises(ScarfdateError) as refusal:
        read_length("9" * 59 + "QZ" + "Z" * 1000, "cm")
    assert "9" * 59 + "Q…" in str(refusal.value)
    assert "QZ" not in str(refusal.value)


# ---------------------------------------------------------------------------------- definitions


def test_inch_foot_yard_by_definition() -> None:
    assert read_length("1 in", None) == CM_PER_INCH == 2.54
    assert read_length("1 ft", None) == pytest.approx(30.48, rel=1e-15)
    assert read_length("1 yd", None) == pytest.approx(91.44, rel=1e-15)  # the yard is 0.9144 m


def test_momme_is_a_pound_in_a_piece_of_45_inches_by_100_yards() -> None:
    pound = 453.59237  # grams, exact since 1959
    area = read_length("45 in", None) * read_length("100 yd", None) / 1e4  # square metres
    assert round(pound / area, 3) == GRAMS_PER_SQUARE_METRE_PER_MOMME
    assert momme(pound / area, "g/m²") == pytest.approx(1, abs=5e-5)


def test_momme_by_the_japanese_weight_of_the_same_name() -> None:
    # a piece of 22.8 m x 3.8 cm that weighs 3.76 g (fact measure-momme-japanese)
    assert momme(3.76 / (22.8 * 0.038), "g/m2") == pytest.approx(1, abs=5e-5)


def test_momme_against_ounces_per_square_yard() -> None:
    # 1 oz/yd2 = 33.906 g/m2 = 7.813 momme (fact measure-momme-oz)
    assert momme(33.906, "gsm") == pytest.approx(7.813, abs=1e-3)


@pytest.mark.parametrize("unit", ["momme", "mm", "Momme"])
def test_momme_stays_momme(unit: str) -> None:
    assert momme(16, unit) == 16


def test_stitches_and_their_length() -> None:
    # ten to the inch are 2.54 mm long each (fact stitch-spi-length), so 3.937 to the centimetre
    assert per_inch(10, "in") == 10
    assert per_inch(10 / 2.54, "cm") == pytest.approx(10, rel=1e-15)


@settings(deadline=None)
@given(st.floats(0.5, 60))
def test_stitch_length_is_25_4_over_stitches_per_inch(spi: float) -> None:
    length_mm = 25.4 / spi
    assert per_inch(10 / length_mm, "cm") == pytest.approx(spi, rel=1e-12)


@pytest.mark.parametrize("count", [0, -1, math.nan, math.inf, True, "12", None, 1e-330])
def test_counts_and_weights_must_be_positive_numbers(count: Any) -> None:
    for convert, unit in ((per_inch, "in"), (per_inch, "cm"), (momme, "momme"), (momme, "g/m²")):
        with pytest.raises(ScarfdateError, match="got"):
            convert(count, unit)


@pytest.mark.parametrize("unit", ["ft", "", "per yard", None, 3])
def test_unknown_units_of_counts_and_weights(unit: Any) -> None:
    with pytest.raises(ScarfdateError, match="allowed: in, cm"):
        per_inch(10, unit)
    with pytest.raises(ScarfdateError, match="allowed: momme, g/m²"):
        momme(10, unit)


# ---------------------------------------------------------------------------------- properties

CM = {
    "mm": Fraction(1, 10), "cm": Fraction(1), "m": Fraction(100),
    "in": Fraction(254, 100), "ft": Fraction(3048, 100), "yd": Fraction(9144, 100),
}  # fmt: skip


@settings(deadline=None)
@given(
    st.integers(0, 9999), st.integers(0, 63), st.sampled_from([2, 4, 8, 16, 32, 64]),
    st.sampled_from(sorted(CM)), st.sampled_from(["{w} {n}/{d} {u}", "{w}-{n}/{d}{u}."]),
)  # fmt: skip
def test_mixed_numbers_by_exact_fractions(
    whole: int, above: int, below: int, unit: str, form: str
) -> None:
    above %= below
    exact = (whole + Fraction(above, below)) * CM[unit]
    text = form.format(w=whole, n=above, d=below, u=unit)
    if exact == 0:
        with pytest.raises(ScarfdateError, match="greater than 0"):
            read_length(text, None)
    else:
        assert read_length(text, None) == pytest.approx(float(exact), rel=1e-12)


@settings(deadline=None)
@given(
    st.decimals(min_value="0.1", max_value=9999, places=1), st.sampled_from(sorted(CM)),
    st.booleans(), st.booleans(),
)  # fmt: skip
def test_text_number_and_decimal_comma_agree(
    number: Any, unit: str, comma: bool, blank: bool
) -> None:
    typed = str(number).replace(".", "," if comma else ".") + (" " if blank else "") + unit
    expected = float(Fraction(str(number)) * CM[unit])
    assert read_length(typed, None) == pytest.approx(expected, rel=1e-12)
    assert read_length(float(number), unit) == pytest.approx(expected, rel=1e-12)
    assert read_size(f"{number} x {typed}", None) == pytest.approx((expected,) * 2, rel=1e-12)


@settings(deadline=None)
@given(st.integers(1, 99), st.integers(0, 11))
def test_feet_and_inches_are_inches(feet: int, inches: int) -> None:
    assert read_length(f"{feet} ft {inches} in", None) == pytest.approx(
        read_length(12 * feet + inches, "in"), rel=1e-12
    )


@settings(deadline=None)
@given(st.text(max_size=30) | st.text("0123456789 .,/-xcminftyd½\"'", max_size=20))
def test_reads_or_refuses_and_nothing_else(text: str) -> None:
    for convert in (read_length, read_size):
        try:
            answer = convert(text, "cm")
        except ScarfdateError as refusal:
            assert len(str(refusal)) < 600
        else:
            assert np.all(np.isfinite(answer))
            assert np.all(np.asarray(answer) > 0)


@pytest.mark.parametrize(
    "unit", ["9", "9 ", "1/", ".", "-", "½", '"', "x", "9 x ", "in ", " ", "ſ"]
)
def test_ten_megabytes_are_refused_quickly(unit: str) -> None:
    text = unit * (10_000_000 // len(unit))
    for convert in (read_length, read_size):
        started = time.process_time()
        with pytest.raises(ScarfdateError):
            convert(text, "cm")
        assert time.process_time() - started < 1
