"""How fast and in how much memory a claim is explained, beside a general-purpose exact explainer.

    python -m tests.benchmarks.explaining [--quick]

One core, one run; every comparison is interleaved, round by round, and quoted as the median of the
rounds' ratios, because machines are shared and noisy. ``explain`` is the whole call for a piece with
twelve clues looked at, as one of a run of twenty calls, and by itself after other work, when the
processor's caches hold other things. The peer is the exact explainer of the package shap, over a function that dates
the piece with the clues of each mask, and over a lookup in a ready table of all subsets. Its explainer
is made and compiled beforehand, and all rows of the library are made in a round that is not counted.
Peak memory for twenty clues is measured in a fresh process for each set of tables.
"""

from __future__ import annotations

import argparse
import os
import sys

if __name__ == "__main__":  # before numpy is loaded; a test that borrows from here is left alone
    for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(_name, "1")

import csv
import subprocess
import tempfile
import time
import tracemalloc
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from scarfdate import Explanation, Priors, Scarf, date_scarf, explain, load_priors, simulate
from scarfdate.answer.evidence import encode
from scarfdate.conventions import CHANNEL, DECIBANS_PER_NAT
from scarfdate.model.model import Codes, Model, compiled
from scarfdate.model.posterior import posterior
from scarfdate.model.subsets import log_odds_of_subsets, seen_columns
from scarfdate.tables.priors import shipped_folder
from scarfdate.words.claims import Claim, read_claim

AS_OF = 2026
TWELVE = 12
RUN = 20  # calls in a run
CLUES = (
    "fibre", "weave", "hem", "hem_thread", "print_technique", "uv_glow", "signature", "form",
    "label", "motif", "palette", "layout",
)  # fmt: skip
LAYOUTS = ("plain", "market", "style", "crowded")
"""What the five invented families of a set of twenty are, see `twenty_families`."""

Masks = np.ndarray
Worth = Callable[[Masks], np.ndarray]


@dataclass(frozen=True)
class Game:
    """One piece and one claim about its years, as functions of masks (n, clues) of zeros and ones.

    Each function returns the log odds of the claim in decibans, (n,). The clues are in the order of
    `seen_columns`, so that bit i of a place in ``ready`` is clue i.
    """

    words: dict[str, Any]
    names: tuple[str, ...]
    asked: Claim
    model: Model
    codes: Codes
    columns: tuple[int, ...]
    ready: np.ndarray

    def front_door(self, masks: Masks) -> np.ndarray:
        """One scarf made and one `date_scarf` for each mask."""
        found = np.empty(len(masks))
        for place, mask in enumerate(np.asarray(masks, dtype=bool).tolist()):
            seen = {n: self.words[n] for n, on in zip(self.names, mask, strict=True) if on}
            year = date_scarf(Scarf(**seen), as_of=AS_OF).probability
            found[place] = self._decibans(year[None])[0]
        return found

    def by_codes(self, masks: Masks) -> np.ndarray:
        """The scarf read once, then one exact posterior for each mask: all that dating can spare."""
        found = np.empty(len(masks))
        for place, codes in enumerate(self._masked(masks)):
            found[place] = self._decibans(posterior(self.model, codes[None]).year)[0]
        return found

    def at_once(self, masks: Masks) -> np.ndarray:
        """All masks as one table of scarves: not a function of one scarf, told for comparison."""
        return self._decibans(posterior(self.model, self._masked(masks)).year)

    def lookup(self, masks: Masks) -> np.ndarray:
        """From the ready table of all subsets."""
        return self.ready[np.asarray(masks, dtype=bool) @ (1 << np.arange(len(self.names)))]

    def _masked(self, masks: Masks) -> Codes:
        codes = np.zeros((len(masks), self.codes.shape[1]), dtype=self.codes.dtype)
        codes[:, self.columns] = self.codes[0, self.columns] * np.asarray(masks, dtype=bool)
        return codes

    def _decibans(self, year: np.ndarray) -> np.ndarray:
        # of years only: period and later pieces have the same marks
        says, denies = self.asked.says[0], self.asked.denies[0]
        held, not_held = year[:, says].sum(axis=1), year[:, denies].sum(axis=1)
        return np.asarray(DECIBANS_PER_NAT * (np.log(held) - np.log(not_held)))


def game(words: dict[str, Any], claim: object) -> Game:
    """The game of a piece under the shipped tables; ``claim`` is about years alone."""
    model = compiled(load_priors(), CHANNEL, AS_OF)
    codes, _ = encode(model, Scarf(**words))
    asked = read_claim(claim, model.years, AS_OF)
    assert (asked.says[0] == asked.says[1]).all() and (asked.denies[0] == asked.denies[1]).all()
    columns = seen_columns(model, codes)
    names = tuple(model.clues[column].name for column in columns)
    ready = DECIBANS_PER_NAT * log_odds_of_subsets(model, codes, asked, columns)
    return Game(words, names, asked, model, codes, tuple(columns), ready)


def exact_explainer(worth: Worth, clues: int) -> Callable[[], np.ndarray]:
    """The exact explainer of shap over a function of masks, ready to be called: shares (clues,)."""
    import shap

    explainer = shap.explainers.Exact(worth, shap.maskers.Independent(np.zeros((1, clues))))
    every = np.ones((1, clues))
    return lambda: np.asarray(explainer(every).values[0])


def simulated_pieces(
    number: int, rng: np.random.Generator, clues: int = TWELVE
) -> list[dict[str, Any]]:
    """What was seen of simulated pieces, each with ``clues`` clues looked at, drawn for each."""
    frame = simulate(None, number, rng, as_of=AS_OF, looked_at=1.0).frame()
    return [
        {name: row[name] for name in sorted(rng.choice(CLUES, clues, replace=False).tolist())}
        for row in frame.to_dict("records")
    ]


def its_interval(words: dict[str, Any]) -> tuple[int, int]:
    """The claim that `explain` asks by default: the piece's own shortest interval."""
    return date_scarf(Scarf(**words), as_of=AS_OF).interval()


def seconds(work: Callable[[], object]) -> float:
    """Time of one call."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


OURS = ("explain", "explain, by itself", "explain, no claim given")


def speed(number: int, rounds: int) -> None:
    """Twelve clues: `explain` and the exact explainer over four forms of the same function."""
    games = [
        game(words, its_interval(words))
        for words in simulated_pieces(number, np.random.default_rng(12))
    ]
    times: dict[str, list[float]] = {}
    worst = 0.0
    for one in games:
        scarf, claim = Scarf(**one.words), its_interval(one.words)

        def whole(scarf: Scarf = scarf, claim: object = claim) -> Explanation:
            return explain(scarf, claim, as_of=AS_OF)

        works: dict[str, Callable[[], object]] = {
            "explain, by itself": whole,
            "explain": lambda whole=whole: [whole() for _ in range(RUN)],
            "explain, no claim given": lambda scarf=scarf: explain(scarf, as_of=AS_OF),
        }
        forms = {
            "shap, date_scarf": one.front_door,
            "shap, exact posterior": one.by_codes,
            "shap, one table of scarves": one.at_once,
            "shap, ready table": one.lookup,
        }
        works |= {name: exact_explainer(form, TWELVE) for name, form in forms.items()}
        share = [whole().share[name] for name in one.names]
        for name, work in works.items():
            found = work()
            if name in forms:
                worst = max(worst, float(np.abs(np.asarray(found) - share).max()))
        for _ in range(rounds):
            for name, work in works.items():
                took = seconds(work)
                times.setdefault(name, []).append(took / RUN if name == "explain" else took)
    each = {name: np.array(found) for name, found in times.items()}
    print(f"{number} simulated pieces, {TWELVE} clues looked at, {rounds} rounds each")
    print("milliseconds a piece (median, fastest, slowest)")
    for name, found in each.items():
        row = " ".join(f"{1e3 * f(found):>10.3f}" for f in (np.median, np.min, np.max))
        print(f"  {name:28} {row}")
    print(f"largest difference of a share: {worst:.1e} decibans")
    wanted = {
        "shap, date_scarf": " (1,000 wanted)",
        "shap, exact posterior": "",
        "shap, one table of scarves": "",
        "shap, ready table": " (1 wanted)",
    }
    for name, text in wanted.items():
        run, alone = (np.median(each[name] / each[ours]) for ours in OURS[:2])
        print(f"explain: {run:,.1f} times as fast as {name}{text}; by itself {alone:,.1f} times")
    slowest = max(float(each[name].max()) for name in OURS)
    print(f"explain: {1e3 * slowest:.2f} ms at most (20 allowed)")


# ------------------------------------------------------------------ twenty clues


def twenty_families(folder: Path, layout: str) -> Priors:
    """The shipped tables with five invented families more: enough for twenty clues of one piece.

    ``layout``: "plain" and "style": the five are of that kind; "market": they depend on the market;
    "crowded": as "style", and every shipped family that can be is read as style, too, which is the
    hardest for the memory. Their numbers are invented and say nothing about scarves.
    """
    reads = "style" if layout in ("style", "crowded") else "making"
    extra = ("extra_a", "extra_b", "extra_c", "extra_d", "extra_e")
    (folder / "shares").mkdir(parents=True)

    def with_more(name: str, more: Sequence[dict[str, str]]) -> None:
        with (shipped_folder() / name).open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        header = list(rows[0])
        if name == "families.csv" and layout == "crowded":
            by_market = ("label", "origin")  # a style family cannot depend on the market
            for row in rows:
                if row["kind"] in ("shares", "measured") and row["family"] not in by_market:
                    row["reads"] = "style"
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, header, restval="")
            writer.writeheader()
            writer.writerows([*rows, *more])

    basis = {"basis": "memory", "note": "invented for a test"}
    with_more(
        "families.csv",
        [{"family": n, "kind": "shares", "reads": reads, "name": n, "worth": "20"} | basis for n in extra],
    )  # fmt: skip
    with_more(
        "vocabulary.csv",
        [
            {"family": n, "word": w, "reading": "value", "means": "invented for a test", "note": ""}
            for n in extra for w in ("this", "that")
        ],
    )  # fmt: skip
    with_more("slips.csv", [{"family": n, "rate": "2", "altered": "0"} | basis for n in extra])
    for name in extra:
        lines = ["year,grade,this,that,basis,source,note"]
        rows = [(1880, "any", 20, 80), (1950, "any", 60, 40), (2025, "any", 30, 70)]
        if layout == "market":
            lines = ["year,grade,market,this,that,basis,source,note"]
            rows = [
                (year, f"any,{market}", this + rise, that - rise)
                for rise, market in enumerate(_markets())
                for year, _, this, that in rows
            ]
        lines += [f"{y},{g},{a},{b},memory,,invented for a test" for y, g, a, b in rows]
        (folder / "shares" / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return load_priors(folder)


def _markets() -> list[str]:
    """The markets of the shipped tables, in their order."""
    with (shipped_folder() / "shares" / "origin.csv").open(encoding="utf-8", newline="") as file:
        return list(dict.fromkeys(row["market"] for row in csv.DictReader(file)))


TWENTY: dict[str, Any] = {
    "fibre": "silk", "weave": "twill", "hem": "hand-rolled", "hem_thread": "silk",
    "print_technique": "hand-screen", "uv_glow": "none", "signature": "medium", "form": "square",
    "label": "intact", "label_make": "woven", "label_text": "ALL SILK\nMADE IN ITALY",
    "origin": "italy", "motif": "geometric", "palette": "bright-primary", "layout": "bordered",
    "maker": "Quorvelle", "depicted_year": 1955, "printed_year": 1960,
    "extra_a": "this", "extra_b": "that", "extra_c": "this", "extra_d": "that", "extra_e": "this",
}  # fmt: skip
"""An invented piece, and an invented maker of the demo. What its label says of its fibre and country is one clue
with the label's words."""


def one_layout(layout: str) -> None:
    """In a process of its own: clues, seconds, peak MB of `explain` alone, peak MB of all."""
    with tempfile.TemporaryDirectory() as place:
        known = twenty_families(Path(place) / "priors", layout)
    explain({"fibre": "silk"}, "1960s", priors=known, as_of=AS_OF)  # the model is made before
    tracemalloc.start()
    found = explain(TWENTY, "1960s", priors=known, as_of=AS_OF)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    took = seconds(lambda: explain(TWENTY, "1960s", priors=known, as_of=AS_OF))
    assert found.exact
    print(f"{len(found.clues)},{took},{peak / 1e6},{peak_memory() / 1e6}")


def peak_memory() -> int:
    """Peak resident memory of this process, bytes."""
    status = Path("/proc/self/status")
    if status.exists():
        for line in status.read_text(encoding="utf-8").splitlines():
            if line.startswith("VmHWM:"):
                return 1024 * int(line.split()[1])
    import resource

    # on Linux this one can hold the peak of the process that started us, too
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most if sys.platform == "darwin" else 1024 * most


def measured(layout: str) -> tuple[int, float, float, float]:
    """What `one_layout` prints, from a fresh process."""
    run = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.explaining", "--layout", layout],
        capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2],
    )  # fmt: skip
    clues, *rest = run.stdout.split(",")
    took, own, whole = map(float, rest)
    return int(clues), took, own, whole


def memory(layouts: Sequence[str]) -> None:
    """Twenty clues: time and peak memory, for each set of tables."""
    print("\ntwenty clues: seconds, MB for the explanation, MB of the whole process (500 allowed)")
    for layout in layouts:
        clues, took, own, whole = measured(layout)
        print(f"  {layout:8} {clues} clues {took:>8.3f} {own:>8.0f} {whole:>8.0f}")


def main() -> None:
    """Everything, or one set of tables in a process of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer pieces and rounds, and no "
                        "tables crowded with style, which take gigabytes")  # fmt: skip
    parser.add_argument("--layout", choices=LAYOUTS, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.layout:
        one_layout(given.layout)
        return
    speed(*((2, 3) if given.quick else (6, 7)))
    memory(LAYOUTS[:-1] if given.quick else LAYOUTS)


if __name__ == "__main__":
    main()
