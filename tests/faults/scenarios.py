"""What writes, one scenario for each command and call: valid input, a place to write to, and what can be told of it then.

Each is prepared in a folder of its own: what is read lies in ``in``, what is written in ``out``. The call always runs in a
process of its own (`tests.faults.trial`), so what it puts in place of long work touches nothing else.
"""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import islice
from pathlib import Path
from types import SimpleNamespace

from scarfdate import ScarfdateError

ROOT = Path(__file__).parents[2]
AS_OF = ["--as-of", "2026"]
OLD = b"the old file\n"
Call = Callable[[], object]


def contents(place: Path) -> object:
    """The file, or the files of the folder by their names, as a reader finds them; None where there is nothing."""
    from scarfdate.plain import COMING, JOURNAL

    if not place.is_dir():
        return place.read_bytes() if place.exists() else None
    files = {
        path.relative_to(place).as_posix(): path.read_bytes()
        for path in sorted(place.rglob("*"))
        if path.is_file() and not any(p.startswith(".scarfdate-") for p in path.parts)
    }
    coming = place / COMING
    late = {
        p.relative_to(coming).as_posix(): p.read_bytes()
        for p in coming.rglob("*")
        if p.is_file() and p.name != JOURNAL
    }
    return files | late


@dataclass(frozen=True)
class Scenario:
    """``covers``: commands and calls as `door.writers` names them. ``prepare(folder)`` gives the call.

    ``target``: what is written, in ``out``; ``state(target)``: all that can be told of it. ``goes_on``: it reads its
    target, too. ``kept``: a folder in ``out`` by which the next run goes on. ``told``: what was put in place of long work, where it was.
    """

    name: str
    covers: tuple[str, ...]
    prepare: Callable[[Path], Call]
    target: str
    state: Callable[[Path], object] = contents
    goes_on: bool = False
    kept: str = ""
    told: str = ""

    def ready(self, folder: Path) -> Call:
        """Everything in its place; the call."""
        for name in ("in", "out"):
            (folder / name).mkdir(parents=True)
        return self.prepare(folder)


def warm() -> None:
    """Read the tables and whatever is made once and kept, so that a process that is split off need not."""
    import codecs
    import contextlib

    import openpyxl  # noqa: F401
    import pyarrow.parquet  # noqa: F401

    from scarfdate import draw_clue
    from scarfdate.building import build  # noqa: F401

    codecs.lookup("utf-8-sig")  # not loaded where tables come from the cache
    draw_clue("hem")
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        command("describe", "fibre=silk", *AS_OF)
        command("appraise", "fibre=silk", *AS_OF)
        command("simulate", 1, *AS_OF)


def command(*words: object) -> None:
    """Run a command of ``scarfdate`` in this process."""
    from scarfdate.cli import cli

    cli.main([*map(str, words)], prog_name="scarfdate", standalone_mode=False)


def head(source: str, rows: int, to: Path) -> Path:
    """The first rows of a file of the demo."""
    with (ROOT / "data" / source).open(encoding="utf-8", newline="") as lines:
        to.write_text("".join(islice(lines, rows + 1)), encoding="utf-8", newline="")
    return to


def _old(folder: Path, name: str) -> Path:
    place = folder / "out" / name
    place.write_bytes(OLD)
    return place


def _date(ending: str) -> Scenario:
    def prepare(folder: Path) -> Call:
        stock, using = head("stock.csv", 3, folder / "in" / "stock.csv"), folder / "in" / "map.toml"
        using.write_text('ignore = ["note"]\n', encoding="utf-8")
        out, given = _old(folder, f"dated.{ending}"), ["--columns", using, *AS_OF]
        if ending == "json":  # one with tables of her own: reading them takes most of the time
            own = folder / "in" / "own"
            own.mkdir()
            (own / "doubt.csv").write_bytes((ROOT / "priors" / "doubt.csv").read_bytes())
            given += ["--priors", own]
        return lambda: command("date", stock, "--out", out, "--force", "--quiet", *given)

    return Scenario(f"date, .{ending}", ("scarfdate date",), prepare, f"dated.{ending}")


def _date_file(folder: Path) -> Call:
    stock, out = head("stock.csv", 3, folder / "in" / "stock.csv"), _old(folder, "long.csv")
    return lambda: command("date", stock, "--out", out, "--force", "--processes", 1, *AS_OF)


def _upgrade(folder: Path) -> Call:
    from tests.upgrades import old_priors

    old = old_priors(folder / "in")
    return lambda: command("upgrade-priors", old, folder / "out" / "mine")


def _appraise(folder: Path) -> Call:
    box, costs = head("box.csv", 3, folder / "in" / "box.csv"), folder / "in" / "costs.toml"
    costs.write_bytes((ROOT / "data" / "costs.toml").read_bytes())
    out = _old(folder, "buy.csv")
    return lambda: command("appraise", box, "--costs", costs, "--out", out, "--force", *AS_OF)


def _shelf(folder: Path) -> Call:
    book = head("book.csv", 12, folder / "in" / "book.csv")
    out = _old(folder, "sells.csv")
    given = ["--closed-on", "2026-09-30", "--out", out, "--force", *AS_OF]
    return lambda: command("shelf", book, *given)


def _simulate(folder: Path) -> Call:
    out = _old(folder, "pile.json")
    return lambda: command("simulate", 5, "--out", out, "--force", *AS_OF)


def _describe(ending: str) -> Scenario:
    def prepare(folder: Path) -> Call:
        stock = head("stock.csv", 4, folder / "in" / "stock.csv")
        out = _old(folder, f"words.{ending}")
        return lambda: command("describe", stock, "--out", out, "--force", *AS_OF)

    return Scenario(f"describe, .{ending}", ("scarfdate describe",), prepare, f"words.{ending}")


def _template(folder: Path) -> Call:
    out = _old(folder, "empty.xlsx")
    return lambda: command("template", out, "--force")


def _words(folder: Path) -> Call:
    return lambda: command("words", "hem", "--drawing", folder / "out" / "hem.svg")


@cache
def _made_card() -> object:
    from scarfdate import pocket_card

    return pocket_card(clues=["fibre", "hem"], as_of=2026)


def _card(folder: Path) -> Call:
    card, out = _made_card(), _old(folder, "card.html")

    def call() -> None:
        import scarfdate

        scarfdate.pocket_card = lambda *_, **__: card
        command("card", out, "--force")

    return call


@cache
def _made_learned() -> object:
    import pandas as pd

    from scarfdate import learn, read_sold

    rows = [{"known": "1950", "known_by": "receipt", "fibre": "silk", "hem": "raw"}]
    found = learn(read_sold(pd.DataFrame(rows), as_of=2026), route="counts", as_of=2026)
    assert found.files
    return found


def _learn(folder: Path) -> Call:
    learned, sold = _made_learned(), folder / "in" / "sold.csv"
    sold.write_text("known,known_by,fibre\n1950,receipt,silk\n", encoding="utf-8")

    def call() -> None:
        import scarfdate

        scarfdate.learn = lambda *_, **__: learned
        command("learn", sold, "--out", folder / "out" / "mine", *AS_OF)

    return call


def _prices(folder: Path) -> Call:
    from scarfdate import load_prices

    prices, book = load_prices(), head("book.csv", 12, folder / "in" / "book.csv")

    def call() -> None:
        import scarfdate

        scarfdate.learn_prices = lambda *_, **__: prices
        command("learn-prices", book, "--out", folder / "out" / "mine", *AS_OF)

    return call


def _build(folder: Path) -> Call:
    from scarfdate.building import build

    records, out = folder / "in" / "records.csv", folder / "out" / "priors"
    records.write_bytes((ROOT / "data" / "museum_export" / "table.csv").read_bytes())
    using = folder / "in" / "map.toml"
    using.write_bytes((ROOT / "data" / "museum_export" / "table.toml").read_bytes())
    (out / "shares").mkdir(parents=True)
    for name in ("year_expert.csv", "year_museum.csv", "shares/hem.csv"):  # expert rows stay
        (out / name).write_bytes(OLD)
    files = {
        name: (ROOT / "priors" / name).read_bytes()
        for name in ("year_museum.csv", "shares/hem.csv", "museum/compared.csv")
    }

    def built_from(read: object, *_: object, **__: object) -> build.Built:
        clues = SimpleNamespace(unread={})
        return build.Built(files=files, records=read, years=None, clues=None, smoothing=None,
                           borrowed={}, trade=None, record_clues=clues)  # fmt: skip

    def call() -> None:
        build.built_from = built_from
        command("build-priors", records, "--map", using, "--out", out, "--force")

    return call


@cache
def _pages() -> Mapping[str, str]:
    import nbformat

    from scarfdate.lessons import pages
    from scarfdate.lessons.contents import CONTENTS, chosen, shipped_notebooks

    (lesson,) = chosen(["start_here"])
    plain = shipped_notebooks() / f"{CONTENTS}.ipynb"
    made = {
        path: pages.page(nbformat.read(path, as_version=4), of, {"start_here"})
        for path, of in ((lesson.path, lesson), (plain, None))
    }
    return {path.stem: text for path, text in made.items()}


def _lessons(folder: Path) -> Call:
    from scarfdate.lessons import pages

    made, out = _pages(), folder / "out" / "pages"
    out.mkdir()
    for name in ("index", "start_here"):
        (out / f"{name}.html").write_bytes(OLD)

    def call() -> None:
        pages.run = lambda path: path.stem
        pages.page = lambda stem, lesson, names: made[stem]
        command("lessons", out, "--only", "start_here", "--force")

    return call


def _practice(folder: Path) -> Call:
    from scarfdate import practice

    out = folder / "out" / "mine.json"
    made = practice(3, "first-steps", rounds=2, progress=out, as_of=2026)
    made.round().bet("1960s 6, 1970s 4")

    def call() -> None:
        from scarfdate.cli import practice as prompt

        said, say = [], prompt.say_wrapped  # what cannot be kept is said, and the round goes on
        prompt.say_wrapped = lambda text, *more, **much: (
            said.append(text),
            say(text, *more, **much),
        )
        sys.stdin = io.StringIO("1960s 5, 1970s 5\nq\n")
        command("practice", "--rounds", 2, "--progress", out)
        if refused := [text for text in said if "not kept" in text]:
            raise ScarfdateError(*refused)

    return call


def _progress(place: Path) -> object:
    return json.loads(place.read_bytes()) if place.exists() else None


def _sorting(folder: Path) -> Call:
    from tests.sorting.table import keys, play, table

    play(table(folder / "out"), keys("fs<Enter>fw"))

    def call() -> None:
        sorting = table(folder / "out")
        screen = sorting.press("Enter")
        if not screen.said.startswith(
            "2 written"
        ):  # it never raises: what it says is on the screen
            raise ScarfdateError(*screen.messages)

    return call


def _on_the_table(place: Path) -> object:
    from tests.sorting.table import rows, table

    screen = table(place.parent).screen()
    pieces = screen.piece, screen.other, screen.hand
    return rows(place), pieces, [tray.count for tray in screen.trays]


def _descriptor(folder: Path) -> Call:
    from scarfdate.tables import descriptor

    for name in ("families.csv", "doubt.csv", "vocabulary.csv"):
        (folder / "out" / name).write_bytes((ROOT / "priors" / name).read_bytes())
    _old(folder, "datapackage.json")

    def call() -> None:
        sys.argv = ["", str(folder / "out")]
        descriptor.main()

    return call


def _information(folder: Path) -> Call:
    from scarfdate.building import information

    out = _old(folder, "information.csv")
    table = (ROOT / "priors" / "information.csv").read_bytes()

    def call() -> None:
        sys.argv = ["", str(out)]
        information.information_table = lambda: table
        information.main()

    return call


_SORTING = tuple(
    f"sorting.sorting.Sorting.{verb}"
    for verb in (
        "choose", "clear", "doubt", "empty_trays", "method", "next_piece", "note", "press", "side_by_side", "to_tray",
        "undo",
    )
)  # fmt: skip
SCENARIOS: tuple[Scenario, ...] = (
    *map(_date, ("csv", "xlsx", "json", "parquet")),
    Scenario(
        "date, in parts", ("scarfdate date", "streaming.date_file.date_file"), _date_file, "long.csv",
        kept=".long.csv.parts",
    ),
    Scenario(
        "upgrade-priors", ("scarfdate upgrade-priors", "tables.upgrade.upgrade_priors"), _upgrade, "mine"
    ),
    Scenario("appraise", ("scarfdate appraise",), _appraise, "buy.csv"),
    Scenario("shelf", ("scarfdate shelf",), _shelf, "sells.csv"),
    Scenario("simulate", ("scarfdate simulate",), _simulate, "pile.json"),
    *map(_describe, ("md", "csv")),
    Scenario(
        "template", ("scarfdate template", "columns.template.write_template"), _template, "empty.xlsx"
    ),
    Scenario("words", ("scarfdate words", "drawing.drawing.Drawing.save"), _words, "hem.svg"),
    Scenario(
        "card", ("scarfdate card", "card.pocket.PocketCard.save"), _card, "card.html",
        told="fitting the card",
    ),
    Scenario(
        "learn", ("scarfdate learn", "learning.learned.Learned.save"), _learn, "mine",
        told="learning",
    ),
    Scenario(
        "prices", ("scarfdate learn-prices", "worth.prices.Prices.save"), _prices, "mine"
    ),
    Scenario(
        "build-priors", ("scarfdate build-priors", "building.build.build_priors"), _build, "priors",
        told="estimating the tables",
    ),
    Scenario(
        "lessons", ("scarfdate lessons", "lessons.pages.write_lessons"), _lessons, "pages",
        told="running the lessons",
    ),
    Scenario(
        "practice",
        ("scarfdate practice", "practising.practice.practice", "practising.practice.Practice.round",
         "practising.round.Round.bet"),
        _practice, "mine.json", _progress, goes_on=True,
    ),
    Scenario("sorting", _SORTING, _sorting, "stock.csv", _on_the_table, goes_on=True),
    Scenario(
        "descriptor", ("python -m scarfdate.tables.descriptor",), _descriptor, "datapackage.json"
    ),
    Scenario(
        "information", ("python -m scarfdate.building.information",), _information,
        "information.csv", told="working the table out",
    ),
)  # fmt: skip
