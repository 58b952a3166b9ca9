"""The invented dealer's book of bought and sold pieces, her box, and the answers to both; made again by

    python -m tests.demo.make_book

which writes ``data/book.csv``, ``data/box.csv``, ``tests/demo/book_answers.csv`` and
``tests/demo/box_answers.csv``, byte for byte the committed ones.

Everything is invented. Pieces are drawn by `scarfdate.simulate` from the shipped tables (thrift, as of 2026) with
all clues looked at, and each clue is then left blank by lot. A maker's name stands on one piece in seven, of those
whose year the makers' file allows. What moves prices and days is in `tests.demo.book_world`.

The answers, one row a row: ``id``, ``year``, ``grade``, ``fibre``, ``hem``, ``form`` as they are true, ``width_cm``,
``height_cm``, ``maker``, ``kept`` (log), ``channel``, ``log_fair`` on the day of sale (of the box: at the stall in the
autumn of 2026), ``worth`` (what a buyer would give), ``days`` to the sale, whether it lies ahead or not.
"""

from __future__ import annotations

import csv
import datetime
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from notebooks import book_world as world
from scarfdate import load_priors, simulate
from scarfdate.files import write_whole
from scarfdate.tables.knots import ANY

ROOT = Path(__file__).parents[2]
BOOK, BOOK_ANSWERS = ROOT / "data/book.csv", ROOT / "tests/demo/book_answers.csv"
BOX, BOX_ANSWERS = ROOT / "data/box.csv", ROOT / "tests/demo/box_answers.csv"
SEED, BOX_SEED, AS_OF, ROWS, IN_BOX = 2026, 30, 2026, 600, 30
FIRST, CLOSED = datetime.date(2021, 10, 1), datetime.date(2026, 9, 30)
BOX_PRICE = 180  # euros, in the README
_BLANK = 0.4  # of a clue; sizes are nearly always noted
_SIZE_BLANK = 0.12
_LONGEST, _SHORTEST = 250, 12  # cm
_NAMED = 1 / 7
_CLUES = (
    "fibre", "weave", "hem", "hem_thread", "stitches_per_inch", "print_technique", "uv_glow", "signature",
    "maker", "label", "label_make", "origin", "form", "width_cm", "height_cm", "momme", "motif", "palette",
    "layout",
)  # fmt: skip
_REMARKS = (
    "from the house clearance", "lady said her aunt wore it", "lovely drape", "hem a bit wavy",
    "would suit a beret", "came in a hat box", "washed by hand", "pair with B-drawer",
)  # fmt: skip
_TRUE = ("id", "year", "grade", "fibre", "hem", "form", "width_cm", "height_cm", "maker", "kept", "channel",
         "log_fair", "worth", "days")  # fmt: skip


@dataclass(eq=False)
class Piece:
    """``true``: what is so; ``cells``: what she wrote, by column."""

    true: dict[str, object]
    cells: dict[str, str] = field(default_factory=dict)

    def log_fair(self, channel: str, day: datetime.date) -> float:
        """The middle of what a buyer would give, in logs."""
        true = self.true
        area = float(str(true["width_cm"])) * float(str(true["height_cm"]))
        decade = max(int(str(true["year"])) // 10 * 10, min(world.DECADE))
        return (
            world.BASE + world.SIZE * math.log(area / world.AREA) + float(str(true["kept"]))
            + world.FIBRE[str(true["fibre"])] + world.HEM[str(true["hem"])] + world.FORM[str(true["form"])]
            + world.MAKER.get(str(true["maker"]), 0.0) + world.CHANNEL[channel]
            + world.SEASON[world.season(day.month)] + world.DECADE[decade] + world.GRADE[str(true["grade"])]
            + world.YEAR[day.year]
        )  # fmt: skip


def book() -> list[Piece]:
    """Her pieces in the order in which she bought them; the same in every run."""
    rng = np.random.default_rng(SEED)
    pieces = _drawn(ROWS, rng)
    span = (CLOSED - FIRST).days
    days = sorted(int(day) for day in rng.integers(0, span - 10, size=len(pieces)))
    for number, (piece, day) in enumerate(zip(pieces, days, strict=True), 1):
        piece.true["id"] = piece.cells["id"] = f"B{number:03d}"
        _traded(piece, FIRST + datetime.timedelta(days=day), rng)
    _slips(pieces, rng)
    return pieces


def box() -> list[Piece]:
    """The pieces of a box, each with what the seller asks for it by itself."""
    rng = np.random.default_rng(BOX_SEED)
    pieces = _drawn(IN_BOX, rng)
    for number, piece in enumerate(pieces, 1):
        piece.true["id"] = piece.cells["id"] = f"X{number:02d}"
        piece.true["channel"] = "stall"
        fair = piece.log_fair("stall", CLOSED)
        piece.true["log_fair"] = fair
        piece.true["worth"] = math.exp(fair + world.SPREAD * rng.standard_t(world.TAILS))
        asked = math.exp(fair) * rng.uniform(0.3, 1.2)
        piece.cells["asked_price"] = str(max(round(asked), 1))
        piece.cells["sold_currency"] = "EUR"
    return pieces


def _drawn(n: int, rng: np.random.Generator) -> list[Piece]:
    """Pieces with what is noted of them and what is wrong with them; no trade yet."""
    made = simulate(load_priors(), n + n // 5, rng, as_of=AS_OF, looked_at=1.0)
    pieces = []
    for at in range(len(made)):
        seen = {name: values[at] for name, values in made.seen.items()}
        true = {name: values[at] for name, values in made.truth.items()}
        own = {name: true[f"true_{name}"] for name in ("fibre", "hem", "form")}
        sizes = {name: round(float(str(seen[name]))) for name in ("width_cm", "height_cm")}
        if not (max(sizes.values()) <= _LONGEST and min(sizes.values()) >= _SHORTEST):
            continue  # a slip of the tape: its true size is not known
        if len(pieces) == n:
            break
        piece = Piece({"year": true["year"], "grade": true["grade"], **own, **sizes, "maker": ""})
        _noted(piece, seen | sizes, rng)
        _named(piece, rng)
        _faults(piece, rng)
        pieces.append(piece)
    return pieces


def _noted(piece: Piece, seen: dict[str, object], rng: np.random.Generator) -> None:
    sized = rng.random() >= _SIZE_BLANK
    for name, value in seen.items():
        if name == "label_make" and seen["label"] == "none-seen":
            continue
        # luck is drawn for what is not there, too: what is noted of the rest does not hang on it
        is_size = name in ("width_cm", "height_cm")
        if not (sized if is_size else rng.random() >= _BLANK) or value is None:
            continue
        if name == "stitches_per_inch":
            value = max(round(float(str(value))), 1)
        elif name == "momme":
            value = f"{max(round(2 * float(str(value))), 2) / 2:g}"
        piece.cells[name] = str(value)


def _named(piece: Piece, rng: np.random.Generator) -> None:
    """A maker's name, where the makers' file has one of that year."""
    year = int(str(piece.true["year"]))
    makers = load_priors().makers
    could = [
        (name, window.form)
        for key, name in makers.names.items()
        for window in makers.windows[key]
        if window.year_from <= year <= window.year_to
    ]
    if not could or rng.random() >= _NAMED:
        return
    name, form = could[int(rng.integers(len(could)))]
    piece.true["maker"] = piece.cells["maker"] = name
    if form != ANY:
        piece.cells["signature"] = form


def _faults(piece: Piece, rng: np.random.Generator) -> None:
    looked, faultless, second = rng.random(3)
    words, often = [*world.FAULTS], np.array([count for _, count in world.FAULTS.values()], float)
    found: list[str] = []
    if faultless >= world.FAULTLESS:
        count = 2 if second < world.SECOND else 1
        found = [
            str(word)
            for word in rng.choice(words, size=count, replace=False, p=often / often.sum())
        ]
    piece.true["kept"] = math.fsum(world.FAULTS[word][0] for word in found)
    if looked < world.LOOKED_AT:
        piece.cells["condition"] = ", ".join(found) or world.NOTHING


def _traded(piece: Piece, bought: datetime.date, rng: np.random.Generator) -> None:
    """Bought, put out, asked for, and sold unless the day of the sale lies ahead."""
    channel = str(rng.choice([*world.CHANNELS], p=[*world.CHANNELS.values()]))
    listed = bought + datetime.timedelta(days=1 + int(rng.exponential(12)))
    luck = world.SPREAD * float(rng.standard_t(world.TAILS))
    more, weibull = float(rng.exponential(world.ASKED_MORE)), float(rng.weibull(world.DAYS_SHAPE))
    back, remark, gift, guess, cost = rng.random(5)
    fair = piece.log_fair(channel, min(listed, CLOSED))
    asked = max(_halves(math.exp(fair + luck + more)), 1.0)
    wait = math.exp(world.DAYS_SLOPE * (math.log(asked) - fair)) * world.DAYS_CHANNEL[channel]
    days = max(round(world.DAYS * wait * weibull), 0)
    sold = listed + datetime.timedelta(days=days)
    if sold <= CLOSED:
        fair = piece.log_fair(channel, sold)
    worth = math.exp(fair + luck)
    piece.true |= {"channel": channel, "log_fair": fair, "worth": worth, "days": days}
    paid = 0.0 if gift < 0.02 else max(_halves(math.exp(fair) * (0.15 + 0.5 * cost)), 0.5)
    cells = {"bought_on": str(bought), "paid": f"{paid:.2f}", "currency": "EUR"}
    if listed <= CLOSED:
        cells |= {"listed_on": str(listed), "asked": f"{asked:.2f}", "channel": channel}
    if sold <= CLOSED:
        price = min(max(_halves(worth), 0.5), asked)
        cells |= {"sold_on": str(sold), "sold_for": f"{price:.2f}"}
        cells["returned"] = "yes" if back < world.RETURNED[channel] else "no"
    if remark < 0.2:
        cells["note"] = _REMARKS[int(guess * len(_REMARKS))]
    piece.cells |= cells


def _halves(amount: float) -> float:
    return round(2 * amount) / 2


def _slips(pieces: Sequence[Piece], rng: np.random.Generator) -> None:
    """What goes wrong in a book: days left out, days exchanged, a price in words."""
    sold = [piece for piece in pieces if "sold_on" in piece.cells and piece.true["days"]]
    lot = [sold[at] for at in rng.permutation(len(sold))[:24]]
    for piece in lot[:12]:
        del piece.cells["listed_on"]
    for piece in lot[12:18]:
        del piece.cells["asked"]
    for piece in lot[18:21]:
        cells = piece.cells
        cells["listed_on"], cells["sold_on"] = cells["sold_on"], cells["listed_on"]
    for piece, words in zip(lot[21:], ("a cake", "swapped", "for the choir"), strict=True):
        piece.cells["sold_for"] = words


_TRADE = (
    "bought_on",
    "paid",
    "listed_on",
    "asked",
    "currency",
    "channel",
    "sold_on",
    "sold_for",
    "returned",
)


def book_table(pieces: Sequence[Piece]) -> str:
    """The book as CSV, under headings that `read_book` knows."""
    return _csv(("id", *_CLUES, "condition", *_TRADE, "note"), [piece.cells for piece in pieces])


def box_table(pieces: Sequence[Piece]) -> str:
    """The box as CSV."""
    names = ("id", *_CLUES, "condition", "asked_price", "sold_currency")
    return _csv(names, [piece.cells for piece in pieces])


def answer_table(pieces: Sequence[Piece]) -> str:
    """The answers as CSV."""
    rows = [
        {n: f"{v:.4f}" if isinstance(v, float) else v for n, v in piece.true.items()}
        for piece in pieces
    ]
    return _csv(_TRUE, rows)


def _csv(names: Sequence[str], rows: Sequence[dict[str, object]] | Sequence[dict[str, str]]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, names, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)  # type: ignore[arg-type]
    return text.getvalue()


if __name__ == "__main__":
    for file, table in (
        (BOOK, book_table(pieces := book())), (BOOK_ANSWERS, answer_table(pieces)),
        (BOX, box_table(boxed := box())), (BOX_ANSWERS, answer_table(boxed)),
    ):  # fmt: skip
        write_whole(file, table.encode("utf-8"))
