"""``date`` for files of any length: in parts, behind a bar with rows a second and the time left."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

from scarfdate.cli.front import say_wrapped
from scarfdate.show.terminal import clean, say

_LONG = 20_000_000  # bytes: a minute's work, of some hundred thousand pieces


def is_long(file: str, out: str) -> bool:
    """Whether a file is long enough to be dated in parts, and both are of kinds that can be."""
    from scarfdate.streaming.parts import ENDINGS
    from scarfdate.streaming.source import KINDS

    kinds = Path(file).suffix.casefold() in KINDS and Path(out).suffix.casefold() in ENDINGS
    try:
        return kinds and os.stat(file).st_size > _LONG
    except (OSError, ValueError):  # told where it is read
        return False


def date_long(
    file: str, out: str, *, memory: int | None, processes: int | None, **asked: Any
) -> bool:
    """`date_file` behind a bar of progress; whether a row was not read as it stood."""
    from tqdm import tqdm

    from scarfdate.streaming.date_file import MEMORY, date_file, of_use

    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    told = MEMORY if memory is None else memory * 1_000_000
    with tqdm(
        unit=" rows", file=sys.stderr, leave=False, disable=not sys.stderr.isatty(), smoothing=0.05
    ) as bar:

        def moved(done: int, share: float) -> None:
            if share > 0:
                bar.total = round(done / share)  # of a CSV file only the share read is known
            bar.update(done - bar.n)

        dated = date_file(
            file, out, processes=processes or of_use(told, cores or 1), progress=moved,
            memory=told, **asked,
        )  # fmt: skip
    for remark in dated.remarks:
        say(f"note: {remark}", err=True)
    say_wrapped(str(dated))
    if dated.not_used:
        say_wrapped(f"Columns not used: {', '.join(map(clean, dated.not_used))}.")
    return bool(dated.bad or dated.partly)
