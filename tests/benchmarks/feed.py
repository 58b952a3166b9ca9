"""``python -m tests.benchmarks.feed [RECORDS ...] [--keep]``: a museum's own feed of many records, built into priors.

The records are invented: pages of a folder, JSON lines, as an interface of a museum would hand them out. Each size is
read (`read_records`, with `read_medium` for the texts) and built (`build_priors`) in a process of its own. Printed
are time and memory, and the exponents with which they grow with the records.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.benchmarks.own_process import Cost, exponent, measured, told
from tests.figures import GROWTH, keep

RECORDS = (100_000, 1_000_000, 10_000_000)
_PAGE = 100_000  # records of a page
_COLUMNS = {
    "record_id": "number", "object_type": "object.name", "date_text": "made.when",
    "medium_text": "made.of", "country": "made.in", "width_cm": "wide", "height_cm": "high",
    "year_acquired": "entered",
}  # fmt: skip
# all of it invented; how often each stands there is by its place
_TYPES = ("scarf", "shawl", "cloth", "square", "sample", "stole")
_FIBRES = ("silk", "cotton", "wool", "rayon", "polyester", "linen", "silk and wool", "nylon")
_WEAVES = ("", "twill", "crepe", "satin", "chiffon", "plain weave", "jersey")
_PRINTS = (
    "",
    "screen printed",
    "printed",
    "block printed",
    "roller printed",
    "hand painted",
    "digitally printed",
)
_REMARKS = (
    "",
    "fringed",
    "hemmed by hand",
    "with a border",
    "mounted on card",
    "embroidered in one corner",
)
_LANDS = ("", "France", "Italy", "England", "Japan", "India", "United States", "Germany")


def write_records(folder: Path, records: int) -> None:
    """Pages of JSON lines; a record is drawn from its number alone, and takes no memory."""
    folder.mkdir()
    for start in range(0, records, _PAGE):
        with (folder / f"page-{start // _PAGE:05}.jsonl").open("w", encoding="utf-8") as page:
            for one in _drawn(start, min(_PAGE, records - start)):
                page.write(json.dumps(one) + "\n")


def _drawn(start: int, n: int) -> Iterator[dict[str, object]]:
    import numpy as np

    rng = np.random.default_rng([11, start])

    def some(words: tuple[str, ...], shift: object = 0) -> list[str]:
        at = np.clip(rng.exponential(1.5, n) + shift, 0, len(words) - 1)
        return [words[place] for place in at.astype(int).tolist()]

    year = (1880 + 145 * rng.beta(2, 2, n)).astype(int)
    late = np.maximum(0, (year - 1940) / 40)
    entered = np.where(
        rng.random(n) < 0.7, np.minimum(2025, year + rng.exponential(40, n).astype(int)), 0
    )
    texts = zip(
        some(_FIBRES, late), some(_WEAVES), some(_PRINTS, late), some(_REMARKS), strict=True
    )
    kinds, lands = some(_TYPES), some(_LANDS)
    sides = np.round(20 + rng.gamma(4, 15, (n, 2)), 1).tolist()
    measured_at_all = rng.random(n) < 0.6
    form = rng.random(n)
    for at, words in enumerate(texts):
        of, got = int(year[at]), int(entered[at])
        wide, high = sides[at] if measured_at_all[at] else ("", "")
        yield {
            "number": f"A.{start + at}",
            "object": {"name": kinds[at]},
            "made": {"when": _said(of, form[at]), "of": "; ".join(filter(None, words)), "in": lands[at]},
            "wide": wide, "high": high, "entered": got or "",
        }  # fmt: skip


def _said(year: int, form: float) -> str:
    """A year as a cataloguer states it."""
    if form < 0.3:
        return str(year)
    if form < 0.55:
        return f"{year // 10 * 10}s"
    if form < 0.75:
        return f"ca. {year // 5 * 5}"
    return (
        f"{year - 7}-{year + 8}"
        if form < 0.95
        else f"{'early' if year % 100 < 50 else 'late'} 20th century"
    )


def read(folder: Path, out: Path) -> None:
    from scarfdate.records.museum import read_records

    read_records(folder, _map(out))


def built(folder: Path, out: Path) -> None:
    from scarfdate.building.build import build_priors

    build_priors([folder], out / "priors", columns=_map(out), licence="invented")


def _map(folder: Path) -> Path:
    """The columns map of the invented export, as a file."""
    fields = "".join(f'{ours} = "{theirs}"\n' for ours, theirs in _COLUMNS.items())
    path = folder / "map.toml"
    path.write_text(
        f'unlisted = "textile"\n[columns]\n{fields}[constants]\nsource = "invented-feed"\n'
        '[kinds]\nscarf-like = ["scarf", "shawl", "square", "stole"]\n'
    )
    return path


WORKS: dict[str, Callable[[Path, Path], None]] = {"read alone": read, "read and built": built}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("records", nargs="*", type=int, default=RECORDS)
    parser.add_argument("--keep", action="store_true", help="write tests/figures/growth")
    parser.add_argument("--one", nargs=3, metavar=("WORK", "FOLDER", "OUT"), help="that work alone")
    asked = parser.parse_args()
    if asked.one:
        name, folder, out = asked.one
        told(lambda: WORKS[name](Path(folder), Path(out)))
        return
    costs: dict[str, dict[int, Cost]] = {name: {} for name in WORKS}
    table = []
    print(f"{'records':>10} {'what':<16} {'clock':>9} {'processor':>10} {'a record':>11} {'MB':>6}")
    for records in sorted(asked.records):
        with tempfile.TemporaryDirectory() as place:
            feed = Path(place) / "feed"
            write_records(feed, records)
            for name in WORKS:
                cost = measured("tests.benchmarks.feed", ["--one", name, feed, place])
                costs[name][records] = cost
                each = cost.processor / records * 1e6
                table.append([records, name, f"{cost.clock:.1f}", f"{cost.processor:.1f}", f"{each:.1f}",
                              f"{cost.most / 1e6:.0f}"])  # fmt: skip
                print("{:>10} {:<16} {:>8}s {:>9}s {:>8} µs {:>6}".format(*table[-1]), flush=True)
    notes = [said for name, of in costs.items() for said in growth(name, of)]
    print(*notes, sep="\n")
    if asked.keep:
        keep(
            "feed",
            title="A museum's own feed, read and built into priors",
            command="python -m tests.benchmarks.feed --keep",
            columns=["records", "what", "clock, s", "processor, s", "µs of the processor a record", "most memory, MB"],
            rows=table,
            notes=notes,
            folder=GROWTH,
        )  # fmt: skip


def growth(name: str, of: dict[int, Cost]) -> list[str]:
    """With which powers of the records the costs grow, and what the last record took."""
    if len(of) < 2:
        return []
    sizes = sorted(of)
    time = exponent(sizes, [of[size].processor for size in sizes])
    memory = exponent(sizes, [of[size].most for size in sizes])
    more = (of[sizes[-1]].most - of[sizes[0]].most) / (sizes[-1] - sizes[0])
    return [f"{name}: processor time grows with the power {time:.2f} of the records, memory with {memory:.2f} "
            f"({more:.0f} bytes for each record more)."]  # fmt: skip


if __name__ == "__main__":
    main()
