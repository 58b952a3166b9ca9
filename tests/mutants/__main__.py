"""``python -m tests.mutants ROOM_OR_FILE ...``: see :mod:`tests.mutants`."""

from __future__ import annotations

import argparse
import gc
import json
import os
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from math import sqrt
from pathlib import Path
from tempfile import TemporaryDirectory

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("CI", "true")  # the same examples of hypothesis every time

import pytest
from hypothesis import Phase, settings

from scarfdate import load_priors
from tests.figures import keep
from tests.mutants.covering import Covering, collect, stamp
from tests.mutants.made import Mutant, mutants_of, sampled
from tests.mutants.planted import Living
from tests.mutants.survivors import explained
from tests.mutants.trial import ALIVE, BY_TIME, CAUGHT, NONE, Trial, passes, tried

ROOT = Path(__file__).parents[2]
CACHE = ROOT / ".mutants"
_LIMIT = 300.0  # seconds of tests a mutant, unless fewer are asked for
_CONTROL = 2.0  # seconds of tests that have to pass without a fault

_LOOKING = ("tests/test_records.py",)  # at what an import has made
# The sets whose figures stand together: what they are, what is changed, and the fast tests that have to notice.
SETS = {
    "inference": (
        "Mutants of the exact sum, of answers and of clues",
        ("scarfdate/model", "scarfdate/answer", "scarfdate/clues"),
        (
            *("tests/model", "tests/answer", "tests/clues"),
            *("tests/test_against_reference.py", "tests/test_properties.py"),
            *("tests/test_extremes.py", "tests/test_cannot_be_earlier.py"),
            *("tests/test_doubts_reference.py", "tests/why/test_conflict.py"),
            *("tests/reading/test_noted.py", "tests/worth/test_describe_table.py"),
            *("tests/why/test_explain.py", "tests/test_unchanged_answers.py"),
            *(
                "tests/why/test_shapley.py",
                "tests/why/test_slopes.py",
                "tests/why/test_sensitivity.py",
            ),
        ),
    ),
    "labels": (
        "Mutants of the label reader",
        tuple(
            f"scarfdate/reading/{f.name}"
            for f in sorted((ROOT / "scarfdate/reading").glob("label*.py"))
        ),
        tuple(
            f"tests/reading/label/test_{name}.py"
            for name in ("small", "corrections", "cases", "tables", "rules", "years", "corpus")
        ),
    ),
    "learning": (
        "Mutants of the likelihood and gradient of learning",
        tuple(
            f"scarfdate/learning/{name}.py"
            for name in (
                *("likelihood", "clue_likelihood", "measured_density", "information"),
                *("prior", "laplace", "scales"),
            )
        ),
        ("tests/learning/test_small.py", "tests/learning/test_likelihood.py", *_LOOKING),
    ),
    "worth": (
        "Mutants of prices, appraisals, decisions, condition and listings",
        tuple(
            f"scarfdate/worth/{f.name}"
            for f in sorted((ROOT / "scarfdate/worth").glob("*.py"))
            if not f.name.startswith(("__", "book", "shelf", "hung", "power"))
            and f.name not in ("price_nuts.py", "price_container.py", "by_kind.py", "waiting.py")
        ),
        tuple(
            f"tests/worth/test_{name}.py"
            for name in (
                *(
                    "said",
                    "laws",
                    "appraise",
                    "look_first",
                    "profit",
                    "waiting_rule",
                    "costs",
                    "lot",
                ),
                *("buying_list", "condition", "condition_cells", "prices", "prices_published"),
                *("claims", "describe_table", "appraise_verb", "listing_words", "listing_views"),
                *("fit", "samples", "shelf"),
            )
        )
        + _LOOKING,
    ),
}


class Trials:
    """A plugin of pytest: once the tests are collected, tries mutants instead of running tests."""

    def __init__(self, name: str, options: argparse.Namespace) -> None:
        self.name, self.options = name, options
        self.fates: dict[str, str] = {}

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        quicken(session)
        covering = self._covering(session.items)
        living = None if self.options.cold else Living()
        gc.freeze()  # so that children share what they do not change
        items = {item.nodeid: item for item in session.items}
        sound = [items[name] for name in covering.quickest(_CONTROL)]
        if living is not None and not passes(sound, _CONTROL, living):
            raise AssertionError("tests fail in a child without a fault: nothing could be told")
        with TemporaryDirectory() as folder:
            wanted = self._wanted(covering, items)
            for trial, fate in tried(wanted, living, Path(folder), self.options.jobs):
                mutant = trial.mutant
                Fates(ROOT / mutant.file).add(mutant, fate)
                self.fates[mutant.key] = fate
                place = f"{mutant.file}:{mutant.line}: {mutant.operator}"
                where = said(mutant) if fate == ALIVE else place
                print(f"{fate:8}{len(trial.tests):4} tests  {where}", flush=True)
        return True

    def _wanted(self, covering: Covering, items: Mapping[str, pytest.Item]) -> Iterator[Trial]:
        """What is still to be tried; what is known from an earlier run is noted."""
        reasons = explained()
        for file in files_of(self.options.what):
            kept, source = Fates(file), file.read_text(encoding="utf-8")
            for mutant in chosen(file, self.options):
                fate = kept.get(mutant) if self.options.resume else None
                again = self.options.alive_again and fate == ALIVE
                if fate is None or (again and (mutant.file, *mutant.change(source)) not in reasons):
                    named = covering.within(mutant.file, mutant.line, self.options.seconds)
                    tests = [items[name] for name in named if name in items]
                    seconds = sum(covering.seconds[item.nodeid] for item in tests)
                    yield Trial(mutant, tests, seconds, ROOT)
                else:
                    self.fates[mutant.key] = fate

    def _covering(self, items: Sequence[pytest.Item]) -> Covering:
        """Kept by file of tests, so that a new test does not run all others again; in a child, which may be spoiled."""
        files = files_of(SETS[self.name][1])
        whole: dict[str, float] = {}
        lines: dict[str, dict[int, list[str]]] = {}
        code = stamp(files)
        for test_file in sorted({item.path for item in items}):
            path = (
                CACHE
                / f"covering-{self.name}"
                / f"{'.'.join(test_file.relative_to(ROOT).parts)}.json"
            )
            mark = f"{code} {stamp([test_file])}"
            part = Covering.load(path, mark)
            if part is None:
                path.parent.mkdir(parents=True, exist_ok=True)
                sys.stdout.flush()
                child = os.fork()
                if child == 0:
                    try:
                        own = [item for item in items if item.path == test_file]
                        collect(own, files, ROOT).save(path, mark)
                        sys.stdout.flush()
                    finally:
                        os._exit(0)
                os.waitpid(child, 0)
                part = Covering.load(path, mark)
                assert part is not None, f"no coverage of {test_file}"
                print(
                    f"{sum(part.seconds.values()):6.1f} s  {len(part.seconds)} tests in {test_file.name}",
                    flush=True,
                )
            whole |= part.seconds
            for file, by_line in part.lines.items():
                for line, tests in by_line.items():
                    lines.setdefault(file, {}).setdefault(line, []).extend(tests)
        print(f"{len(whole)} tests, {sum(whole.values()):.0f} s of processor time, traced")
        return Covering(whole, lines)


def quicken(session: pytest.Session) -> None:
    """The shipped tables, which no mutant of these rooms changes, are read once for all tests that ask for them."""
    shipped = load_priors()
    for item in session.items:
        for fixture in item._fixtureinfo.name2fixturedefs.get("priors", ()):
            if fixture.scope == "session":
                object.__setattr__(fixture, "func", lambda: shipped)


class Fates:
    """What became of the mutants of a file, kept from run to run as long as the file is the same."""

    def __init__(self, file: Path) -> None:
        self.path = CACHE / "fates" / f"{'.'.join(file.relative_to(ROOT).parts)}.json"
        self.text = stamp([file])
        there = self.path.exists()
        self.kept = json.loads(self.path.read_text(encoding="utf-8")) if there else {}

    def get(self, mutant: Mutant) -> str | None:
        return self.kept.get(f"{self.text}|{mutant.key}")

    def add(self, mutant: Mutant, fate: str) -> None:
        self.kept[f"{self.text}|{mutant.key}"] = fate
        self.path.write_text(json.dumps(self.kept, indent=0), encoding="utf-8")


def files_of(what: Iterable[str]) -> list[Path]:
    """The modules of rooms and files, named from the root of the project."""
    found = [ROOT / name for name in what]
    return [f for one in found for f in (sorted(one.glob("**/*.py")) if one.is_dir() else [one])]


def chosen(file: Path, options: argparse.Namespace) -> Iterator[Mutant]:
    yield from sampled(mutants_of(ROOT, file, options.seed), options.sample, options.seed)


def said(mutant: Mutant) -> str:
    before, after = mutant.change((ROOT / mutant.file).read_text(encoding="utf-8"))
    return f"{mutant.file}:{mutant.line}: {before}  ->  {after}"


def interval(caught: int, tried_: int) -> tuple[float, float]:
    """Wilson's 95 % interval of a share (Wilson 1927)."""
    z, share = 1.959964, caught / tried_
    middle, width = (
        share + z * z / (2 * tried_),
        z * sqrt(share * (1 - share) / tried_ + (z / tried_ / 2) ** 2),
    )
    return (middle - width) / (1 + z * z / tried_), (middle + width) / (1 + z * z / tried_)


COLUMNS = (
    "module",
    "mutants",
    "tried",
    "caught",
    "of these by time",
    "explained",
    "alive",
    "caught %",
    "95 %",
    "caught or explained %",
)


def rows_of(fates: dict[str, str], options: argparse.Namespace) -> list[list[object]]:
    """A row for each module."""
    reasons = explained()
    rows: list[list[object]] = []
    for file in files_of(options.what):
        every = len(mutants_of(ROOT, file, options.seed))
        own = [(m, fates[m.key]) for m in chosen(file, options) if fates.get(m.key, NONE) != NONE]
        if not own:
            continue
        source = file.read_text(encoding="utf-8")
        count = Counter(fate for _, fate in own)
        alive = [m for m, fate in own if fate == ALIVE]
        known = sum((m.file, *m.change(source)) in reasons for m in alive)
        rows.append(
            [
                str(file.relative_to(ROOT)),
                every,
                len(own),
                count[CAUGHT] + count[BY_TIME],
                count[BY_TIME],
                known,
                len(alive) - known,
            ]
        )
    return rows


def with_shares(row: Sequence[object]) -> list[object]:
    name, every, tried_, caught, by_time, known, alive = row
    low, high = interval(caught, tried_)
    span = f"{100 * low:.0f} to {100 * high:.0f}" if tried_ < every else "all tried"
    return [
        name,
        every,
        tried_,
        caught,
        by_time,
        known,
        alive,
        f"{100 * caught / tried_:.0f}",
        span,
        f"{100 * (caught + known) / tried_:.0f}",
    ]


def total_of(rows: Sequence[Sequence[object]]) -> list[object]:
    return ["all", *(sum(row[i] for row in rows) for i in range(1, 7))]


def write_alive(name: str, fates: dict[str, str], options: argparse.Namespace) -> Path:
    """The alive that nobody has explained: file, line, what the line was, what it became."""
    reasons, path = explained(), CACHE / f"{name}-alive.txt"
    lines = []
    for file in files_of(options.what):
        source = file.read_text(encoding="utf-8")
        for mutant in chosen(file, options):
            if (
                fates.get(mutant.key) == ALIVE
                and (mutant.file, *mutant.change(source)) not in reasons
            ):
                lines.append(said(mutant))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def keep_figures(name: str, rows: list[list[object]], options: argparse.Namespace) -> None:
    """Rows of this run into the table of the set; those of modules that were not in it stay."""
    path = ROOT / "tests" / "figures" / f"mutants_{name}.json"
    old = json.loads(path.read_text(encoding="utf-8"))["rows"] if path.exists() else []
    by_module = {row[0]: [row[0], *map(int, row[1:7])] for row in old if row[0] != "all"}
    by_module |= {row[0]: row for row in rows}
    every = [by_module[module] for module in sorted(by_module) if (ROOT / module).exists()]
    title, what, tests = SETS[name]
    told = {str(row[0]) for row in every}
    left = [str(f.relative_to(ROOT)) for f in files_of(what)]
    left = [module for module in left if module not in told and "__init__" not in module]
    sample = f" --sample {options.sample}" if options.sample else ""
    limit = f" --seconds {options.seconds:g}" if options.seconds != _LIMIT else ""
    keep(
        f"mutants_{name}",
        title=title,
        command=f"python -m tests.mutants {' '.join(what)}{sample} --seed {options.seed}{limit} --keep",
        columns=COLUMNS,
        rows=[with_shares(row) for row in [*every, total_of(every)]],
        notes=[
            "Operators of cosmic-ray; of each place in the code and kind of change one mutant, drawn by a seed. Against the fast tests of "
            + ", ".join(dict.fromkeys(tests))
            + " that run the changed line. By time: it did not end in four times what its tests take. "
            "Explained: alive, and a row of tests/mutants/survivors.csv says why. 95 %: Wilson's interval where a sample was drawn.",
            *([f"Not tried yet: {', '.join(left)}."] if left else []),
        ],
    )


def known_fates(options: argparse.Namespace) -> dict[str, str]:
    """What earlier runs found of the mutants that are asked for."""
    found = {}
    for file in files_of(options.what):
        kept = Fates(file)
        found |= {m.key: fate for m in chosen(file, options) if (fate := kept.get(m))}
    return found


def tried_by_tests(name: str, options: argparse.Namespace) -> dict[str, str]:
    """Collect the tests of the set, and try the mutants."""
    # a failure is not made small: that it fails is enough
    phases = [p for p in Phase if p not in (Phase.shrink, Phase.explain, Phase.reuse)]
    settings.register_profile(
        "mutants", derandomize=True, database=None, deadline=None, phases=phases
    )
    settings.load_profile("mutants")
    trials = Trials(name, options)
    tests = [str(ROOT / test) for test in SETS[name][2] if (ROOT / test).exists()]
    os.chdir(ROOT)
    status = pytest.main(["-q", "-s", "-p", "no:cacheprovider", *tests], plugins=[trials])
    if status not in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
        sys.exit(status)
    return trials.fates


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.add_argument("what", nargs="+", help="rooms or files, as scarfdate/model")
    parser.add_argument("--sample", type=int, help="so many mutants a module")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--seconds",
        type=float,
        default=_LIMIT,
        help="of tests a mutant; what outlives them is alive",
    )
    parser.add_argument(
        "--resume",
        action="store_true",
        help="go on: keep what was tried of files that did not change",
    )
    parser.add_argument(
        "--alive-again",
        action="store_true",
        help="with --resume: try those once more that are alive and not explained",
    )
    parser.add_argument("--jobs", type=int, default=1, help="so many at a time")
    parser.add_argument(
        "--cold", action="store_true", help="each in a new process: slow, to check the warm one"
    )
    parser.add_argument(
        "--told", action="store_true", help="try nothing: tell what was found before"
    )
    parser.add_argument("--keep", action="store_true", help="write the figures")
    options = parser.parse_args()
    options.what = [str((Path.cwd() / name).resolve().relative_to(ROOT)) for name in options.what]
    first = str(files_of(options.what)[0].relative_to(ROOT))
    name = next(n for n, (_, what, _) in SETS.items() if any(first.startswith(w) for w in what))
    (CACHE / "fates").mkdir(parents=True, exist_ok=True)
    fates = known_fates(options) if options.told else tried_by_tests(name, options)
    rows = rows_of(fates, options)
    for row in [COLUMNS, *map(with_shares, [*rows, total_of(rows)])]:
        print(
            "".join(
                str(cell).rjust(12) if place else str(cell).ljust(36)
                for place, cell in enumerate(row)
            )
        )
    print(f"alive and not explained: {write_alive(name, fates, options)}")
    if options.keep:
        keep_figures(name, rows, options)


if __name__ == "__main__":
    main()
