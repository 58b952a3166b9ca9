"""Dates as text: an example table in the order of the standard's levels, the general-purpose
parser of the package ``edtf`` as a peer, and round trips."""

import math
import time
from typing import Any

import edtf
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from scarfdate.errors import ScarfdateError
from scarfdate.tables.priors import load_priors
from scarfdate.words import edtf as dates
from scarfdate.words.edtf import stretches as read_stretches
from scarfdate.words.edtf_text import interval_text, set_text
from tests.growth import rises_in_line

WORDS = load_priors().date_words


def read(text: str) -> tuple[int | None, int | None]:
    return dates.read(text, WORDS)


def is_approximate(text: str) -> bool:
    return dates.is_approximate(text, WORDS)


# text, first year, last year, whether it calls itself approximate
TABLE = [
    # level 0: a year, a month, a day; an interval of them
    ("1962", 1962, 1962, False),
    ("0987", 987, 987, False),
    ("1962-05", 1962, 1962, False),
    ("1904-05", 1904, 1904, False),  # the standard's month, not 1904-1905
    ("1964-02-29", 1964, 1964, False),  # a leap day
    ("2000-02-29", 2000, 2000, False),  # and one every four hundred years
    ("1958/1969", 1958, 1969, False),
    ("1962-05/1963-01-31", 1962, 1963, False),
    ("1962/1962", 1962, 1962, False),
    # level 1: digits left open, from the right
    ("196X", 1960, 1969, False),
    ("19XX", 1900, 1999, False),
    ("1962-XX", 1962, 1962, False),
    ("1962-05-XX", 1962, 1962, False),
    ("1962-XX-XX", 1962, 1962, False),
    # level 1: uncertain, approximate, both
    ("1984?", 1984, 1984, True),
    ("1984~", 1984, 1984, True),
    ("1984%", 1984, 1984, True),
    ("196X~", 1960, 1969, True),
    ("1984-06?", 1984, 1984, True),
    # level 1: intervals with open (..) and unknown (nothing) ends
    ("../1905", None, 1905, False),
    ("1985/..", 1985, None, False),
    ("/2006", None, 2006, False),
    ("1984/", 1984, None, False),
    ("1964~/2008?", 1964, 2008, True),
    ("1965/196X", 1965, 1969, False),
    ("196X/1985", 1960, 1985, False),
    # level 2: one of a set, as its hull
    ("[1958..1969,1984..1991]", 1958, 1991, False),
    ("[1667, 1668, 1670..1672]", 1667, 1672, False),
    ("[1984,1958]", 1958, 1984, False),
    ("[..1905,1984]", None, 1984, False),
    ("[1958,1984..]", 1958, None, False),
    ("[1962]", 1962, 1962, False),
    ("[196X,1984~]", 1960, 1984, True),
    # words, as museums write them
    ("ca. 1968", 1968, 1968, True),
    ("c1968", 1968, 1968, True),
    ("Circa 1968", 1968, 1968, True),
    ("probably 1968", 1968, 1968, True),
    ("1960s", 1960, 1969, False),
    ("1960's", 1960, 1969, False),
    ("1960s?", 1960, 1969, True),
    ("early 1960s", 1960, 1964, False),
    ("mid-1960s", 1963, 1967, False),
    ("late 1960s", 1965, 1969, False),
    ("ca. late 1960s", 1965, 1969, True),
    ("20th century", 1900, 1999, False),
    ("21st century", 2000, 2099, False),
    ("early 20th century", 1900, 1925, False),
    ("mid-20th century", 1925, 1975, False),
    ("first half of the 20th century", 1900, 1949, False),
    ("third quarter 19th century", 1850, 1874, False),
    ("late 19th–early 20th century", 1875, 1925, False),
    ("1958-69", 1958, 1969, False),
    ("1958–69", 1958, 1969, False),
    ("1904–05", 1904, 1905, False),  # with a dash it is a span
    ("1958 - 1969", 1958, 1969, False),
    ("ca. 1950–1955", 1950, 1955, True),
    ("1940s–60s", 1940, 1969, False),
    ("1940s or 1950s", 1940, 1959, False),
    ("1958 to 1969", 1958, 1969, False),
    ("from 1958 to 1969", 1958, 1969, False),
    ("between 1958 and 1969", 1958, 1969, False),
    ("before 1960", None, 1960, False),
    ("before ca. 1950", None, 1950, True),
    ("1880 or earlier", None, 1880, False),
    ("After 1933", 1933, None, False),
    ("post-1945", 1945, None, False),
    ("not before 1953", 1953, None, False),
    ("  1962\n", 1962, 1962, False),
    # more of the English ones
    ("the 1920s", 1920, 1929, False),
    ("'60s", 1960, 1969, False),
    ("1st quarter 20th c.", 1900, 1924, False),
    ("4th quarter 19th century", 1875, 1899, False),
    ("19th century, second half", 1850, 1899, False),
    ("first half of the 1950s", 1950, 1954, False),
    ("last decade of the 19th century", 1890, 1899, False),
    ("early to mid-20th century", 1900, 1975, False),
    ("early-mid 1950s", 1950, 1957, False),
    ("1960/65", 1960, 1965, False),
    ("19uu", 1900, 1999, False),
    ("196u", 1960, 1969, False),
    ("12 May 1937", 1937, 1937, False),
    ("May 12, 1937", 1937, 1937, False),
    ("May 1937", 1937, 1937, False),
    ("12/5/1937", 1937, 1937, False),
    ("1937-05-12T00:00:00Z", 1937, 1937, False),
    ("before 1937-05-12", None, 1937, False),
    ("dated 1887", 1887, 1887, False),
    ("1880-1889 (made)", 1880, 1889, False),
    ("1930s (?)", 1930, 1939, True),
    ("1956 (designed), 1958 (made)", 1958, 1958, False),
    ("designed 1953, printed 1971", 1971, 1971, False),
    ("designed 1953", 1953, None, False),  # it was printed then or later
    ("ca. 1920; altered 1975", 1920, 1920, True),
    ("acquired 1956", None, 1956, False),
    ("Victorian", 1837, 1901, False),
    ("late Victorian", 1837, 1901, False),  # wider than it need be, and not wrong
    ("Edwardian", 1901, 1914, False),
    ("Meiji period", 1868, 1912, False),
    ("Taisho era (1912-1926)", 1912, 1926, False),
    ("Showa period (1950s)", 1950, 1959, False),
    # German, French, Italian, Dutch, Spanish
    ("um 1900", 1900, 1900, True),
    ("nach 1945", 1945, None, False),
    ("vor 1933", None, 1933, False),
    ("zwischen 1920 und 1930", 1920, 1930, False),
    ("von 1920 bis 1930", 1920, 1930, False),
    ("20. Jh., 2. Hälfte", 1950, 1999, False),
    ("2. Hälfte 20. Jahrhundert", 1950, 1999, False),
    ("1. Viertel 20. Jh.", 1900, 1924, False),
    ("19. bis 20. Jahrhundert", 1800, 1999, False),
    ("Ende 19. Jahrhundert", 1875, 1899, False),
    ("1950er Jahre", 1950, 1959, False),
    ("50er Jahre", 1950, 1959, False),
    ("1900er Jahre", 1900, 1909, False),
    ("12. Mai 1937", 1937, 1937, False),
    ("entworfen 1953, gedruckt 1971", 1971, 1971, False),
    ("vers 1935", 1935, 1935, True),
    ("avant 1914", None, 1914, False),
    ("entre 1950 et 1960", 1950, 1960, False),
    ("de 1950 à 1960", 1950, 1960, False),
    ("XIXe siècle", 1800, 1899, False),
    ("XIXe-XXe siècle", 1800, 1999, False),
    ("2e moitié du XXe siècle", 1950, 1999, False),
    ("1ère moitié 19e siècle", 1800, 1849, False),
    ("1er quart du 20e siècle", 1900, 1924, False),
    ("début XXe siècle", 1900, 1925, False),
    ("fin XIXe", 1875, 1899, False),
    ("années 1950", 1950, 1959, False),
    ("années 60", 1960, 1969, False),
    ("le 12 mai 1937", 1937, 1937, False),
    ("Second Empire", 1852, 1870, False),
    ("verso il 1920", 1920, 1920, True),
    ("prima metà del XX secolo", 1900, 1949, False),
    ("metà XIX secolo", 1825, 1875, False),
    ("XX secolo", 1900, 1999, False),
    ("anni '60", 1960, 1969, False),
    ("inizio anni 50", 1950, 1954, False),
    ("dal 1950 al 1960", 1950, 1960, False),
    ("prima del 1940", None, 1940, False),
    ("omstreeks 1910", 1910, 1910, True),
    ("jaren 50", 1950, 1959, False),
    ("eind 19e eeuw", 1875, 1899, False),
    ("tussen 1950 en 1960", 1950, 1960, False),
    ("hacia 1930", 1930, 1930, True),
    ("siglo XIX", 1800, 1899, False),
    ("segunda mitad del siglo XIX", 1850, 1899, False),
    ("años 70", 1970, 1979, False),
    ("mayo de 1937", 1937, 1937, False),
]

REFUSED = [
    ("", "not known"),
    ("1962-13", "ends before it starts"),
    ("1963-02-29", "not known"),
    ("1900-02-29", "not known"),
    ("62", "not known"),
    ("19620", "not known"),
    ("-0044", "not known"),
    ("Y17000", "not known"),
    ("196x", "not known"),
    ("X962", "not known"),
    ("１９６２", "not known"),  # full-width digits are not digits of the standard
    ("1920-21", "season or a span"),
    ("1900s", "decade or a century"),
    ("late 1800s", "decade or a century"),
    ("20st century", "not known"),
    ("1969/1958", "ends before it starts"),
    ("1969-1958", "ends before it starts"),
    ("1962-62", "same year"),
    ("../..", "names no year"),
    ("/", "names no year"),
    ("[..]", "names no year"),
    ("1958/1969/1984", "not a date of level 0 or 1"),
    ("[1958..1969", "no closing bracket"),
    ("[1958,,1969]", "member 2"),
    ("[1969..1958]", "ends before it starts"),
    ("[]", "member 1"),
    ("[1958..,1969]", "member 1"),  # open only at the outer ends
    ("{1958,1969}", "not known"),  # all of a set: not what a date of making can be
    ("undated", "not known"),
    ("mid-century modern", "not known"),
    ("1962 was a good year", "not known"),
    ("before before 1960", "not known"),
    ("Art Deco", "not known"),  # a style, that lasted and came back
    ("altered 1975", "not known"),  # not when it was made
    ("1953, 1971", "not known"),  # which of them?
    ("5. Viertel 20. Jh.", "not known"),
    ("10s", "two centuries"),
    ("-1950", "not known"),  # before the common era
    ("31/31/1950", "not known"),
]


@pytest.mark.parametrize(("text", "first", "last", "approximate"), TABLE)
def test_reads(text: str, first: int | None, last: int | None, approximate: bool) -> None:
    assert read(text) == (first, last)
    assert is_approximate(text) is approximate


@pytest.mark.parametrize(("text", "reason"), REFUSED)
def test_refuses_and_says_what_is_allowed(text: str, reason: str) -> None:
    with pytest.raises(ScarfdateError) as refusal:
        read(text)
    message = str(refusal.value)
    assert reason in message
    assert repr(text) in message
    assert "allowed: 1962," in message


def test_refuses_a_long_phrase_and_shows_its_beginning() -> None:
    with pytest.raises(ScarfdateError, match="longer than 100 characters") as refusal:
        read("1958 to" + " " * 90 + "1969")
    assert repr("1958 to" + " " * 53 + "…") in str(refusal.value)
    assert read("1958 to" + " " * 80 + "1969") == (1958, 1969)


@pytest.mark.parametrize("thing", [None, 1962, b"1962", math.nan])
def test_refuses_what_is_not_text(thing: Any) -> None:
    with pytest.raises(ScarfdateError, match="must be text"):
        read(thing)


@pytest.mark.parametrize(
    ("first", "last", "open_start", "text"),
    [
        (1962, 1962, False, "1962"),
        (1960, 1969, False, "196X"),
        (1900, 1999, False, "19XX"),
        (1958, 1969, False, "1958/1969"),
        (1960, 1979, False, "1960/1979"),
        (1901, 2000, False, "1901/2000"),
        (987, 987, False, "0987"),
        (1880, 1905, True, "../1905"),
        (1880, 1889, True, "../1889"),  # "or earlier" is more than the decade
        (1880, 1880, True, "../1880"),
    ],
)
def test_writes_an_interval(first: int, last: int, open_start: bool, text: str) -> None:
    assert interval_text(first, last, open_start=open_start) == text
    assert set_text([(first, last)], open_start=open_start) == text


def test_writes_a_set() -> None:
    assert set_text([(1958, 1969), (1984, 1991)]) == "[1958..1969,1984..1991]"
    assert set_text([(1958, 1958), (1984, 1991)]) == "[1958,1984..1991]"
    assert set_text([(1880, 1905), (1984, 1984)], open_start=True) == "[..1905,1984]"
    assert set_text([(1880, 1880), (1960, 1969)], open_start=True) == "[..1880,1960..1969]"


@pytest.mark.parametrize(
    "stretches", [[], [(1969, 1958)], [(1958, 1969), (1969, 1984)], [(1984, 1991), (1958, 1969)]]
)
def test_refuses_stretches_that_make_no_sense(stretches: list[tuple[int, int]]) -> None:
    with pytest.raises(ScarfdateError, match="got"):
        set_text(stretches)


@pytest.mark.parametrize(("first", "last"), [(-1, 5), (1962, 10000), (1962.0, 1963), (2, 1)])
def test_refuses_years_out_of_range(first: Any, last: Any) -> None:
    with pytest.raises(ScarfdateError, match="years must"):
        interval_text(first, last)


# ---------------------------------------------------------------------------------- properties

years = st.integers(0, 9999)
grid_years = st.integers(1880, 2030)


@st.composite
def stretch_lists(draw: st.DrawFn, year: st.SearchStrategy[int]) -> list[tuple[int, int]]:
    """Ascending stretches that do not touch: an even number of different years, taken in pairs,
    some of them then cut to one year."""
    ends = draw(st.lists(year, min_size=2, max_size=12, unique=True).map(sorted))
    pairs = list(zip(ends[0::2], ends[1::2], strict=False))
    return [(a, a) if draw(st.booleans()) else (a, b) for a, b in pairs]


@settings(deadline=None)
@given(years, years)
@example(1960, 1969)
@example(1900, 1999)
def test_interval_round_trip(one: int, other: int) -> None:
    first, last = sorted((one, other))
    assert read(interval_text(first, last)) == (first, last)
    assert read(interval_text(first, last, open_start=True)) == (None, last)


@settings(deadline=None)
@given(stretch_lists(years), st.booleans())
def test_set_round_trip(stretches: list[tuple[int, int]], open_start: bool) -> None:
    expected = (None if open_start else stretches[0][0], stretches[-1][1])
    assert read(set_text(stretches, open_start=open_start)) == expected
    first = (None, stretches[0][1]) if open_start else stretches[0]
    assert read_stretches(set_text(stretches, open_start=open_start)) == (first, *stretches[1:])


@settings(deadline=None)
@given(
    st.text(max_size=40)
    | st.text("0123456789X-/.,[]?~% ", max_size=24)
    | st.lists(
        st.sampled_from(["ca.", "early", "late", "1960s", "20th", "century", "1958", "-", "to"]),
        max_size=8,
    ).map(" ".join)
)
def test_reads_or_refuses_and_nothing_else(text: str) -> None:
    try:
        first, last = read(text)
    except ScarfdateError as refusal:
        assert len(str(refusal)) < 800
    else:
        assert first is not None or last is not None
        assert first is None or last is None or first <= last


# ---------------------------------------------------------------------------------- the peer


def peer_bounds(text: str) -> tuple[int | None, int | None]:
    """First and last year by ``edtf.parse_edtf`` of the general-purpose package ``edtf``."""
    parsed = edtf.parse_edtf(text)
    lower, upper = parsed.lower_strict(), parsed.upper_strict()
    # the peer gives minus or plus infinity for an open end, a time structure otherwise
    return (
        None if lower == -math.inf else lower[0],
        None if upper == math.inf else upper[0],
    )


@pytest.mark.slow
@settings(deadline=None, max_examples=60)
@given(stretch_lists(grid_years), st.booleans())
@example([(1960, 1969)], False)
@example([(1900, 1999)], False)
@example([(1962, 1962)], False)
@example([(1880, 1880)], True)
def test_peer_reads_what_we_write(stretches: list[tuple[int, int]], open_start: bool) -> None:
    text = set_text(stretches, open_start=open_start)
    first = None if open_start else stretches[0][0]
    assert peer_bounds(text) == read(text) == (first, stretches[-1][1])


STANDARD_FORMS = [text for text, *_ in TABLE[: [row[0] for row in TABLE].index("ca. 1968")]]
PEER_DIFFERS = {
    "/2006": "an unknown start: ten years to the peer, no bound to us",
    "1984/": "an unknown end: ten years to the peer, no bound to us",
    "[1962]": "a set of one: refused by the peer",
}


@pytest.mark.parametrize("text", STANDARD_FORMS)
def test_peer_agrees_on_the_standard_forms(text: str) -> None:
    if text in PEER_DIFFERS:
        try:
            bounds: object = peer_bounds(text)
        except edtf.EDTFParseException:
            bounds = "refused"
        assert bounds != read(text)  # else the exception is stale
    else:
        assert peer_bounds(text) == read(text)


# ---------------------------------------------------------------------------------- time


@pytest.mark.parametrize(
    "unit",
    ["1", "X", "-", "/", "[", ",", "..", " ", "1960,", "[1960", "ca. ", "before ", "19XX/", "?"],
)
def test_long_nonsense_is_refused_quickly(unit: str) -> None:
    text = unit * (4_000_000 // len(unit))
    started = time.process_time()
    with pytest.raises(ScarfdateError):
        read(text)
    assert time.process_time() - started < 2


def test_time_grows_in_step_with_a_long_set() -> None:
    assert read(f"[{','.join(['1958..1969'] * 5_000)}]") == (1958, 1969)
    rises_in_line(lambda members: f"[{','.join(['1958..1969'] * members)}]", read, 5_000, 10)


def test_without_words_edtf_alone_is_read() -> None:
    assert dates.read("[1958..1969,1984]") == (1958, 1984)
    with pytest.raises(ScarfdateError, match="not known"):
        dates.read("1960s")
