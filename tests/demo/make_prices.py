"""The prices that come with the library, learned from the invented dealer's book; made again by

    python -m tests.demo.make_prices

which writes ``data/prices/``. They say that they are invented wherever they are shown.
"""

from __future__ import annotations

from pathlib import Path

from scarfdate import load_priors
from scarfdate.files import write_whole
from scarfdate.worth.book import read_book
from scarfdate.worth.learn_prices import learn_prices
from scarfdate.worth.price_files import contents
from scarfdate.worth.prices import Prices

ROOT = Path(__file__).resolve().parents[2]
BOOK, FOLDER = ROOT / "data" / "book.csv", ROOT / "data" / "prices"
NOW = 2026


def learned() -> Prices:
    """The invented prices."""
    priors = load_priors()
    book = read_book(BOOK, priors=priors, as_of=NOW)
    return learn_prices(book, priors, as_of=NOW, invented=True)


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, content in contents(learned()).items():
        write_whole(FOLDER / name, content)
