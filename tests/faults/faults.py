"""All that may go wrong while a scenario runs, and what has to hold then: the old or the new, told in words, no rubbish."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from scarfdate.files import COMING
from tests.faults import trial
from tests.faults.scenarios import Scenario
from tests.faults.trial import CRASHED, DONE, KILLED, REFUSED, Ended

NAMES = (
    "Шарфы и платки", "圍巾 1960年代", "Fou\u0301lards e\u0301te\u0301", "two  blanks", "🧣 silk", "وشاح", os.fsdecode(b"raw \xff"),
)  # fmt: skip

_MOST_STEPS = 10**5  # of a call; one that fails in another way at every step is judged so


@dataclass
class Tally:
    """What one scenario went through. ``left``: parts that lay there until the next write; ``wrong``: what must not be."""

    faults: int = 0
    kills: int = 0
    inside: int = 0
    old: int = 0
    new: int = 0
    half: int = 0
    left: int = 0
    rubbish: int = 0
    wrong: list[str] = field(default_factory=list)


class Tried:
    """A scenario in a folder of its own, made ready, and run once to know what the new file is."""

    def __init__(self, scenario: Scenario, folder: Path) -> None:
        folder.chmod(0o755)
        self.scenario, self.top, self.tally = scenario, folder, Tally()
        self.act = scenario.ready(folder / "run")
        self.out, self.target = folder / "run" / "out", folder / "run" / "out" / scenario.target
        shutil.copytree(folder / "run", folder / "kept")
        self.old = scenario.state(self.target)
        ended = trial.apart(self.act)
        assert ended.how == DONE, (scenario.name, ended)
        self.new = scenario.state(self.target)
        assert self.old != self.new, scenario.name
        self.names = {p.name for p in (*self.out.rglob("*"), *(folder / "kept" / "out").rglob("*"))}

    def again(self) -> None:
        """All as it was before the call."""
        shutil.rmtree(self.top / "run")
        shutil.copytree(self.top / "kept", self.top / "run")

    def look(self, what: str, ended: Ended, *, old: bool = False, new: bool = False) -> None:
        """Judge what is on the disk now; ``old``, ``new``: it has to be this one."""
        tally, known = self.tally, self.scenario.name
        tally.faults += 1
        if ended.how == CRASHED:
            tally.wrong.append(f"{known}, {what}: not in words: {ended.told}")
        left = trial.rubbish(self.out)
        tally.left += bool(left)
        stays = ended.how == REFUSED and COMING in ended.told  # whole, read where it is, and told
        if left and ended.how != KILLED and not stays:
            tally.rubbish += 1
            tally.wrong.append(f"{known}, {what}: {left} lies there")
        for again in (False, True):  # as a reader finds it, and after the next write
            found = self.scenario.state(self.target)
            is_old, is_new = found == self.old, found == self.new
            if not (is_old or is_new) or (old and not is_old) or (new and not is_new):
                tally.wrong.append(
                    f"{known}, {what}: neither old nor new, or the wrong one ({ended})"
                )
            if not again:
                tally.old, tally.new = tally.old + is_old, tally.new + is_new
                tally.half += not (is_old or is_new)
                trial.next_write(self.out, *(p for p in (self.target,) if p.is_dir()))
        kept = self.out / (self.scenario.kept or "none")
        others = {p.name for p in self.out.rglob("*") if kept not in (p, *p.parents)} - self.names
        if others:
            tally.rubbish += 1
            tally.wrong.append(f"{known}, {what}: {others} lies there after the next write")

    # --------------------------------------------------------------------------- kills

    def killed_at_steps(self, at_most: int = 60) -> None:
        """Killed before each step on the disk, half of a file written among them; of very many, evenly chosen ones."""
        for number in self._steps(at_most):
            self.again()
            self._killed(
                f"killed at step {number}", trial.apart(trial.at_step(self.act, number, trial.gone))
            )

    def killed_at_random(self, number: int, seed: int) -> None:
        """Half by SIGKILL at random moments of the whole call, half at random ones from when it first writes."""
        rng = random.Random(seed)
        self.again()
        whole, writing = trial.time_to_write(self.act)
        for way, within in (
            (trial.killed_somewhen, whole),
            (trial.killed_while_it_writes, writing),
        ):
            for _ in range(number // 2):
                self.again()
                self._killed(way.__name__, way(self.act, within, rng))

    def _killed(self, what: str, ended: Ended) -> None:
        self.tally.kills += ended.how == KILLED
        self.tally.inside += ended.inside
        self.look(what, ended)

    def _steps(self, at_most: int, *, tidying: bool = True) -> list[int]:
        """Numbers of the steps that this call takes."""
        number, count = 1, 0
        while number < _MOST_STEPS:  # how many: by doubling, then by halving
            self.again()
            if not trial.past_the_end(trial.apart(trial.at_step(self.act, number, trial.gone))):
                count, number = number, number * 2
            else:
                break
        low, high = count, number
        while high - low > 1:
            middle = (low + high) // 2
            self.again()
            missed = trial.past_the_end(trial.apart(trial.at_step(self.act, middle, trial.gone)))
            low, high = (low, middle) if missed else (middle, high)
        every = max(1, -(-high // at_most))
        return [*range(0, high, every)]

    # --------------------------------------------------------------------------- disks and rights

    def fails_at_steps(self, at_most: int = 60) -> None:
        """No room is left at each step on the disk: told in words, and all is as it was."""
        for number in self._steps(at_most):
            self.again()
            faulty = trial.at_step(self.act, number, trial.no_room, tidying=False)
            ended = trial.apart(faulty)
            if not trial.past_the_end(ended):
                self.look(f"no room at step {number}", ended)

    def full_disk(self) -> None:
        self.again()
        ended = trial.apart(trial.small_disk(self.act))
        self.look("a full disk", ended, old=True)
        self._refused("a full disk", ended)

    def really_full_disk(self) -> bool:
        """On a disk of its own that is full; False where none can be had here."""
        self.again()
        size = sum(p.stat().st_size + 4096 for p in (self.top / "kept" / "out").rglob("*"))
        with _disk(self.out, 64 * 1024 + 2 * size) as there:
            if there:
                shutil.copytree(self.top / "kept" / "out", self.out, dirs_exist_ok=True)
                filler, block = self.out.parent / "out" / "filler", b"x" * 4096
                self.names.add(filler.name)
                with filler.open("wb", buffering=0) as stream:
                    try:
                        while stream.write(block):
                            pass
                    except OSError:
                        pass
                ended = trial.apart(self.act)
                self.look("a disk that is full", ended, old=True)
                self._refused("a disk that is full", ended)
        return there

    def without_rights(self) -> None:
        self.again()
        for folder in (self.out, *(p for p in self.out.rglob("*") if p.is_dir())):
            folder.chmod(0o555)
        ended = trial.apart(trial.nobody(self.act))
        for folder in (self.out, *(p for p in self.out.rglob("*") if p.is_dir())):
            folder.chmod(0o755)
        self.look("a folder without rights", ended, old=True)
        self._refused("a folder without rights", ended)

    # --------------------------------------------------------------------------- other things there

    def other_things(self) -> None:
        """A folder, a link, a pipe or a device where it is to be written stays what it is."""
        for name, lay in trial.things(self.top / "run", self.target):
            self.again()
            if self.target.is_dir():
                shutil.rmtree(self.target)
            self.target.unlink(missing_ok=True)
            lay()
            before, elsewhere = trial.kind(self.target), self.top / "run" / "elsewhere"
            ended = trial.apart(self.act)
            wrong = ended.how not in (DONE, REFUSED) or trial.kind(self.target) != before
            if ended.how == REFUSED and elsewhere.exists():
                wrong |= elsewhere.read_bytes() != b"hers"
            if wrong or trial.rubbish(self.out) or (ended.how == DONE and not self._may(name)):
                self.tally.wrong.append(f"{self.scenario.name}, {name}: {ended}")
            self.tally.faults += 1

    def _may(self, name: str) -> bool:
        """What goes on with a file follows a link to it; a folder that is there already may be written into."""
        into = self.scenario.target in ("priors", "pages")
        return (into and name == "a folder") or (self.scenario.name == "sorting" and "link" in name)

    def inputs_vanish(self) -> None:
        """What is read is taken away, or cut in half, as it is opened."""
        for place in sorted(p for p in (self.top / "run" / "in").rglob("*") if p.is_file()):
            for change in (Path.unlink, trial.half):
                self.again()
                ended = trial.apart(trial.as_it_is_opened(self.act, place, change))
                what = f"{place.name} {'vanishes' if change is Path.unlink else 'shrinks'}"
                if (
                    change is trial.half and ended.how == DONE
                ):  # half of it may be all that is wanted
                    self.tally.faults += 1
                    self.tally.wrong += trial.rubbish(self.out)
                else:
                    self.look(what, ended)

    # --------------------------------------------------------------------------- where and when

    def two_at_once(self, times: int = 3) -> None:
        for _ in range(times):
            self.again()
            for ended in trial.both(self.act):
                if ended.how not in (DONE, REFUSED):
                    self.tally.wrong.append(f"{self.scenario.name}, two at once: {ended}")
            if (
                self.scenario.goes_on
            ):  # both may have gone on with it: what then holds has tests of its own
                self.scenario.state(self.target)
                self.tally.faults, self.tally.wrong = (
                    self.tally.faults + 1,
                    self.tally.wrong + trial.rubbish(self.out),
                )
            else:
                self.look("two at once", Ended(DONE), new=True)

    def clock(self) -> None:
        self._same("the clock of 1970", trial.clock_of_1970(self.act))

    def commas(self, folder: Path, name: str) -> None:
        self._same("decimal commas", trial.decimal_commas(self.act, folder, name))

    def ascii_only(self) -> None:
        self._same("an ASCII terminal", trial.output_to(self.act, os.devnull, "ascii"))

    def full_output(self) -> None:
        self.again()
        self.look(
            "output to a full disk", trial.apart(trial.output_to(self.act, "/dev/full", "utf-8"))
        )

    def line_ends(self) -> None:
        """Windows line ends in every text that is read."""
        self.again()
        places = [*(self.top / "run" / "in").rglob("*")] + [self.target] * self.scenario.goes_on
        for place in places:
            if place.suffix in (".csv", ".toml", ".json"):
                text = place.read_bytes().replace(b"\r\n", b"\n")
                place.write_bytes(text.replace(b"\n", b"\r\n"))
        self.look("Windows line ends", trial.apart(self.act), new=True)

    def _same(self, what: str, act: Callable[[], object]) -> None:
        self.again()
        ended = trial.apart(act)
        self.look(what, ended, new=True)
        if ended.how != DONE:
            self.tally.wrong.append(f"{self.scenario.name}, {what}: {ended}")

    def _refused(self, what: str, ended: Ended) -> None:
        if ended.how != REFUSED:
            self.tally.wrong.append(f"{self.scenario.name}, {what}: {ended}")


def other_names(scenario: Scenario, tally: Tally) -> None:
    """In folders with names of other scripts, marks, blanks, pictures, and a byte that is no letter."""
    for name in NAMES:
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place) / name
            folder.mkdir()
            try:
                tried = Tried(scenario, folder)
                tally.wrong += tried.tally.wrong + trial.rubbish(tried.out)
            except (AssertionError, OSError, ValueError) as error:
                tally.wrong.append(f"{scenario.name}, in {name!a}: {error}")
            tally.faults += 1


@contextmanager
def in_a_folder(scenario: Scenario) -> Iterator[Tried]:
    """The scenario, ready, in a folder that any user may look into."""
    with tempfile.TemporaryDirectory() as folder:
        yield Tried(scenario, Path(folder))


@contextmanager
def comma_locale() -> Iterator[tuple[Path, str] | None]:
    """Where a locale with decimal commas lies, made for the purpose, and its name; None where none can be made."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        place.chmod(0o755)
        try:
            made = subprocess.run(
                ["localedef", "-i", "de_DE", "-f", "UTF-8", str(place / "de_DE.UTF-8")],
                capture_output=True, check=False,
            )  # fmt: skip
        except FileNotFoundError:
            yield None
            return
        yield None if made.returncode else (place, "de_DE.UTF-8")


@contextmanager
def _disk(place: Path, size: int) -> Iterator[bool]:
    """A disk of so many bytes at ``place``; False where it may not be mounted."""
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size},mode=755", "tmpfs", str(place)]
    try:
        there = subprocess.run(mount, capture_output=True, check=False).returncode == 0
    except FileNotFoundError:
        there = False
    try:
        yield there
    finally:
        if there:
            subprocess.run(["umount", str(place)], check=True)
