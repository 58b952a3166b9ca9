"""Six readers as functions of bytes, for atheris, which is guided by the branches that an input takes.

``python -m tests.fuzz.guided TARGET SECONDS FINDS CRASHES`` runs one; ``FINDS`` grows by inputs that took a new branch.
"""

from __future__ import annotations

import hashlib
import io
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

CORPUS = Path(__file__).parent / "corpus"
ROOMS = ("reading", "words", "columns", "tables")  # whose branches guide
LONGEST = 4_096  # bytes of an input
REPEATED, LONG = 1_000, 100_000  # of so many inputs one is repeated to so many bytes
PLACES = ("lags.csv", "slips.csv", "families.csv", "doubt.csv", "headings.csv", "questions.csv", "shares/hem.csv", "shares/signature.csv",
          "measured/momme.csv", "confusion/hem.csv", "label_rules.csv", "vocabulary.csv", "makers.csv", "worth/faults.csv",
          "sorting_keys.csv", "practice_levels.csv")  # fmt: skip


def _label(content: bytes, ask: Any) -> None:
    from scarfdate import read_label

    for text in (content, content.decode(errors="surrogateescape")):
        found = ask(lambda text=text: read_label(text), content)
        if found is not None:
            ask(found.bounds, content), ask(found.facts, content)


def _medium(content: bytes, ask: Any) -> None:
    from scarfdate import read_medium

    ask(lambda: read_medium(content.decode(errors="surrogateescape")), content)


def _sheet(content: bytes, ask: Any) -> None:
    from scarfdate import dry_run

    ask(lambda: dry_run(io.BytesIO(content)), content)


def _date(content: bytes, ask: Any) -> None:
    import numpy as np

    from scarfdate.words import claims, edtf
    from tests.fuzz.oracle import holds

    text = content.decode(errors="surrogateescape")
    found = ask(lambda: edtf.read(text), content)
    if found is not None and None not in found:
        holds(found[0] <= found[1], "a date with its ends the wrong way round", text)
    parts = ask(lambda: edtf.stretches(text), content)
    holds((found is None) == (parts is None), "a date that is read in parts alone", text)
    ask(lambda: claims.read_claim(text, np.arange(1880, 2027), 2026), content)


def _map(content: bytes, ask: Any) -> None:
    from scarfdate import dry_run

    path = ask.folder / "map.toml"
    path.write_bytes(content)
    ask(lambda: dry_run(io.BytesIO(_BOOK), columns=path), content)


def _tables(content: bytes, ask: Any) -> None:
    """The first byte chooses a file of the folder; the rest is what stands in it."""
    from scarfdate import load_priors

    name = PLACES[content[0] % len(PLACES)] if content else PLACES[0]
    for other in ask.folder.rglob("*.csv"):
        other.unlink()
    (ask.folder / name).parent.mkdir(exist_ok=True)
    (ask.folder / name).write_bytes(content[1:])
    ask(lambda: load_priors(ask.folder), content)


TARGETS: dict[str, Callable[[bytes, Any], None]] = {
    "label": _label, "medium": _medium, "sheet": _sheet, "date": _date, "map": _map, "tables": _tables,
}  # fmt: skip
_BOOK = b"No,Stuff,Edge,When,How I know,Got\n1,silk,plump,1960s,bill,12\n2,art. silk,,1972,their book,\n"


def run(target: str, seconds: float, finds: Path, crashes: Path, out: Path) -> None:
    """Fuzz one reader; the tally goes to ``out`` as JSON, and the process ends."""
    import atheris

    with atheris.instrument_imports(include=[f"scarfdate.{room}" for room in ROOMS]):
        import scarfdate
        import scarfdate.clues.kinds
        import scarfdate.columns.map_reader
        import scarfdate.records.sold
        import scarfdate.tables.priors
        import scarfdate.words.claims

        scarfdate.read_label, scarfdate.read_medium, scarfdate.dry_run, scarfdate.load_priors  # noqa: B018
    from tests.fuzz.oracle import Ask, Fault, Tally

    scarfdate.load_priors()
    ask = Ask(Tally(), base=3)
    end, count = time.monotonic() + seconds, 0

    def one(content: bytes) -> None:
        if time.monotonic() > end:
            out.write_text(ask.tally.as_json())
            sys.stdout.flush()
            os._exit(0)
        nonlocal count
        count += 1
        if count % REPEATED == 0 and content:  # what takes long shows in long texts alone
            content *= LONG // len(content) + 1
        try:
            TARGETS[target](content, ask)
        except Fault as fault:
            place = crashes / target / hashlib.sha256(content).hexdigest()[:16]
            had = ask.tally.faults.get(fault.kind)
            if had is None or len(content) < Path(had).stat().st_size:
                place.parent.mkdir(parents=True, exist_ok=True)
                place.write_bytes(content)
                place.with_suffix(".txt").write_text(str(fault), errors="backslashreplace")
                ask.tally.faults[fault.kind] = str(place)

    for folder in (finds, crashes):
        folder.mkdir(parents=True, exist_ok=True)
    options = [
        f"-max_len={LONGEST}",
        "-timeout=1200",
        "-rss_limit_mb=4096",
        "-print_final_stats=0",
        "-verbosity=0",
    ]
    atheris.Setup(
        [sys.argv[0], *options, f"-artifact_prefix={crashes}/", str(finds), str(CORPUS / target)],
        one,
    )
    atheris.Fuzz()


if __name__ == "__main__":
    run(sys.argv[1], float(sys.argv[2]), *map(Path, sys.argv[3:6]))
