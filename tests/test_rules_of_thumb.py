"""Rules of thumb of the trade, as whole cases through the front door.

All of them are common practice, no source: what a dealer of long standing would say at the table.
Each stated decade must lie in the 80 % interval of the thrift channel.
"""

from __future__ import annotations

import pytest

from scarfdate import Dating, Scarf, date_scarf

BOLD_SQUARE = {
    "fibre": "silk", "form": "square", "motif": "geometric", "layout": "colour-blocks",
    "label": "none-seen",
}  # fmt: skip
FINE_PRINT = {
    "fibre": "rayon", "motif": "floral-small", "hem": "machine-stitched",
    "label": "cut-or-fragment",
}  # fmt: skip
CASES = {
    "bold silk square, hand-rolled": ({**BOLD_SQUARE, "hem": "hand-rolled"}, 1960),
    "very large acetate square, large floral, machine hem": (
        {"fibre": "acetate", "form": "square", "width_cm": 115, "height_cm": 115,
         "motif": "floral-large", "hem": "machine hem", "label": "none-seen"}, 1970,
    ),
    "rayon, fine small print, very close machine stitches": (
        {**FINE_PRINT, "stitches_per_inch": 20}, 1940,
    ),
    "large silk square, woven label, Japan": (
        {"fibre": "silk", "form": "square", "width_cm": 88, "height_cm": 88, "hem": "hand-rolled",
         "signature": "medium", "label": "intact", "label_make": "woven", "origin": "Made in Japan"},
        1960,
    ),
    "silk, even machine hem, botanical, tiny hidden signature": (
        {"fibre": "silk", "hem": "machine-stitched", "motif": "botanical", "signature": "small",
         "label": "none-seen"}, 1970,
    ),
}  # fmt: skip


def dated(**seen: object) -> Dating:
    return date_scarf(Scarf(**seen))


@pytest.mark.parametrize("name", CASES)
def test_stated_decade_is_likely(name: str) -> None:
    seen, decade = CASES[name]
    dating = dated(**seen)
    first, last = dating.interval(0.80)
    assert first <= decade + 9
    assert last >= decade
    decades = dating.decades()
    assert max(decades, key=lambda start: decades[start]) == decade


def test_house_after_its_founder() -> None:
    """The maker's file (invented) says that the house went on after its founder died in 1957."""
    dating = dated(fibre="silk", hem="hand-rolled", maker="Quorvelle", label="none-seen")
    assert dating.between(1955, 1964) > 0.7
    first, last = dating.interval()
    assert first <= 1958
    assert 1960 <= last <= 1969


def test_machine_edge_speaks_for_a_later_piece() -> None:
    by_hand = dated(**BOLD_SQUARE, hem="hand-rolled")
    by_machine = dated(**BOLD_SQUARE, hem="machine-stitched")
    assert 1 - by_machine.period_probability >= 3 * (1 - by_hand.period_probability)
    assert by_machine.between(1980, 2026) >= 3 * by_hand.between(1980, 2026)
    assert by_machine.median > by_hand.median


@pytest.mark.parametrize("count", [8, 9, 10, "8-10"])
def test_wide_stitches_move_the_median_ten_years(count: object) -> None:
    close = dated(**FINE_PRINT, stitches_per_inch=20)
    assert dated(**FINE_PRINT, stitches_per_inch=count).median >= close.median + 10


def test_sixties_ahead_of_seventies_for_the_label_from_japan() -> None:
    dating = dated(**CASES["large silk square, woven label, Japan"][0])
    assert dating.between(1960, 1969) > dating.between(1970, 1979)


@pytest.mark.parametrize(
    ("seen", "decade"),
    [
        ({"fibre": "nylon", "weave": "chiffon", "form": "square"}, 1960),
        ({"fibre": "blend", "form": "shawl", "hem": "fringed", "motif": "plain"}, 2000),
        ({"fibre": "cotton", "form": "handkerchief", "motif": "souvenir-map"}, 1950),
        ({"fibre": "polyester", "hem": "overlocked", "weave": "chiffon"}, 1980),
        ({"motif": "psychedelic", "palette": "acid-neon", "hem": "hand-rolled"}, 1960),
        ({"fibre": "silk", "origin": "occupied-japan", "label": "intact"}, 1940),
        ({"print_technique": "digital", "fibre": "silk", "form": "square"}, 2010),
    ],
)
def test_other_common_practice(seen: dict[str, object], decade: int) -> None:
    """Further common practice, no source: the decade lies in the interval."""
    first, last = dated(**seen).interval(0.80)
    assert first <= decade + 9
    assert last >= decade


def test_an_unlabelled_scarf_is_not_older_for_it() -> None:
    """Common practice, no source, and the rules of labelling: labels get cut off."""
    nothing = dated()
    for other in ({}, {"fibre": "silk"}, {"fibre": "rayon"}):
        assert abs(dated(label="none-seen", **other).median - dated(**other).median) < 2
    assert nothing.sentence.startswith("These clues hardly narrow it down")


@pytest.mark.parametrize("channel", ["thrift", "estate", "dealer", "rack", "thrift-europe"])
def test_a_fine_italian_square_is_not_older_for_what_china_sells(channel: str) -> None:
    """Common practice, no source: the best printed squares stay Italian while cheap ones move away."""
    seen = {
        "fibre": "silk", "weave": "twill", "hem": "hand-rolled", "signature": "signed",
        "form": "square", "width_cm": 90, "height_cm": 90,
    }  # fmt: skip
    known = date_scarf({**seen, "origin": "italy"}, channel=channel, as_of=2026)
    blank = date_scarf(seen, channel=channel, as_of=2026)
    assert known.between(1990, 2026) >= blank.between(1990, 2026)


def test_a_rack_is_younger_than_a_pile_picked_for_age() -> None:
    """What `channels.csv` says of both: some two fifths made since 2000, and a fifth."""
    rack, pile = (date_scarf({}, channel=name, as_of=2026) for name in ("rack", "thrift"))
    assert 0.38 <= rack.between(2000, 2026) <= 0.46
    assert 0.16 <= pile.between(2000, 2026) <= 0.25


def test_names_go_out_of_use_in_marks_of_origin() -> None:
    """Facts taiwan-formosa, uk-origin-gap-1968: rare after 1970, and ended with the duty."""
    formosa = date_scarf({"origin": "formosa"}, channel="thrift", as_of=2026)
    foreign = date_scarf({"origin": "foreign"}, channel="thrift-europe", as_of=2026)
    assert formosa.between(1976, 2026) < 0.2
    assert foreign.between(1974, 2026) < 0.15


@pytest.mark.parametrize(("width", "least"), [(76, 0.03), (102, 0.1)])
def test_a_long_shawl_is_not_always_a_pashmina(width: int, least: float) -> None:
    """Common practice, no source: shawls of double length were worn all century, pashminas were one wave of them."""
    dating = date_scarf({"form": "shawl", "width_cm": width, "height_cm": 203}, as_of=2026)
    assert dating.between(1920, 1989) > least


def test_rayon_in_a_square_is_believed() -> None:
    """Common practice, no source: next to silk, rayon was the commonest fibre of squares about 1950."""
    for channel in ("thrift", "estate"):
        assert not date_scarf({"fibre": "rayon", "form": "square"}, channel=channel).doubts
    known = {"fibre": "rayon", "form": "square", "width_cm": 81, "height_cm": 81}
    assert not date_scarf(known, channel="thrift").doubts


@pytest.mark.parametrize(
    ("motif", "first", "last"),
    [
        ("art deco", 1920, 1939), ("wartime slogans", 1939, 1946), ("hibiscus and palms", 1936, 1959),
        ("poodles", 1930, 1962), ("cowboys", 1936, 1962), ("atomic", 1946, 1964), ("zodiac signs", 1964, 1979),
        ("suns and moons", 1986, 2000),
    ],
)  # fmt: skip
def test_a_craze_dates_its_motif(motif: str, first: int, last: int) -> None:
    """Common practice, no source: what is shown was in fashion then, and speaks half as loud again for those years."""
    blank, shown = (date_scarf(seen, as_of=2026) for seen in ({}, {"motif": motif}))

    def speaks_for(begin: int, end: int) -> float:
        return shown.between(begin, end) / blank.between(begin, end)

    others = (shown.probability.sum() - shown.between(first, last)) / (
        blank.probability.sum() - blank.between(first, last)
    )
    assert speaks_for(first, last) > 1.5 * others
