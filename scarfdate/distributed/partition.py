"""One part of a table, dated anywhere: the same bits on every machine, whatever the other parts hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from threading import Lock
from typing import TYPE_CHECKING, Any

from scarfdate import __version__, years
from scarfdate.answer.again import beside, without_answers
from scarfdate.answer.date import ANSWERS, checked_columns, date_table
from scarfdate.clues.kinds import keywords
from scarfdate.conventions import CHANNEL, LEVEL
from scarfdate.errors import ScarfdateError, is_one_of, shown
from scarfdate.reading.frames import as_pandas, like
from scarfdate.reading.headings import read_headings
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.words import units

if TYPE_CHECKING:
    import pandas as pd

_ON_ERROR = ("leave-out", "collect")
_KEPT_TABLES = 4  # folders of priors that a process keeps ready, the latest


@dataclass(frozen=True, kw_only=True)
class PartitionDater:
    """Dates parts of a table, as `partition_dater` made it: a pure function, which can be pickled.

    ``priors_hash``: the content hash of its tables; ``as_of``: the last year of the grid; ``columns``: those of the
    answer. Where it arrives, its tables are made ready once for each process and kept by their hash.
    """

    priors: Priors = field(repr=False)
    priors_hash: str
    channel: str
    level: float
    as_of: int
    unit: str | None
    on_error: str
    columns: tuple[str, ...]

    def __call__(self, frame: Any) -> Any:
        """The answers to the rows of a part, in its index and its library, as of `date_table`.

        That an earlier row has the same id is not told: it may stand in another part.
        """
        part = without_answers(as_pandas(frame), ANSWERS)
        if (at := self.id_column(part)) is not None:
            part = part.copy(deep=False)
            part.isetitem(at, [None] * len(part))
        answers = date_table(
            part, priors=self.priors, channel=self.channel, level=self.level, as_of=self.as_of,
            unit=self.unit, on_error=self.on_error, columns=self.columns,
        )  # fmt: skip
        return like(frame, answers)

    def beside(self, frame: pd.DataFrame) -> pd.DataFrame:
        """The rows of a part of pandas as they are, and their answers behind them."""
        return beside(frame, self(frame))

    def id_column(self, frame: pd.DataFrame) -> int | None:
        """The place of the column of ids; None where there is none."""
        known = keywords(self.priors)
        return read_headings([*frame.columns], known, self.priors.headings).place.get("id")

    @property
    def ddl(self) -> str:
        """Names and types of the answer's columns as SQL has them: "year_from SMALLINT, decade STRING, ..."."""
        import pandas as pd

        kinds = {"i": "SMALLINT", "f": "DOUBLE", "O": "STRING"}
        none = self(pd.DataFrame({"id": []}, dtype=object))
        return ", ".join(
            f"{name} {'ARRAY<DOUBLE>' if pd.api.types.is_object_dtype(dtype) else kinds[dtype.kind]}"
            for name, dtype in none.dtypes.items()
        )

    def __dask_tokenize__(self) -> tuple[object, ...]:
        return ("scarfdate", __version__, *self._told())

    def __reduce__(self) -> tuple[object, tuple[object, ...]]:
        return (_arrived, (__version__, self.priors, *self._told()))

    def _told(self) -> tuple[object, ...]:
        """What it does, in plain values."""
        return (
            self.priors_hash, self.channel, self.level, self.as_of, self.unit, self.on_error, self.columns,
        )  # fmt: skip


def partition_dater(
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    level: float = LEVEL,
    as_of: int | None = None,
    unit: str | None = None,
    on_error: str = "leave-out",
    columns: Sequence[str] | None = None,
) -> PartitionDater:
    """What dates a part of a table, for engines that spread tables over processes or machines.

    The arguments are those of `date_table`. ``as_of`` is fixed here, so that parts dated on both sides of New
    Year agree. Raises ScarfdateError as `date_table` does, for ``on_error="raise"``, since no part knows of the
    errors of others, and for priors that were changed after they were read: their hash would not speak for them.
    """
    known = checked_priors(priors)
    if known.changed:
        raise ScarfdateError(
            f"priors: tables changed in memory ({', '.join(known.changed)}) have no content hash; "
            "write them to a folder and load it: load_priors(folder)"
        )
    if not is_one_of(on_error, _ON_ERROR):
        raise ScarfdateError(
            f"on_error: 'leave-out' or 'collect' is allowed for a table in parts, got {shown(on_error)}"
        )
    known.century.channel(channel)
    return PartitionDater(
        priors=known,
        priors_hash=known.hash,
        channel=channel,
        level=years.checked_level(level),
        as_of=years.checked_as_of(as_of),
        unit=units.checked_unit(unit),
        on_error=on_error,
        columns=checked_columns(columns),
    )


_kept: dict[str, Priors] = {}  # by their hash, the latest last
_LOCK = Lock()


def _arrived(version: str, priors: Priors, hash_: str, *told: Any) -> PartitionDater:
    """A dater out of a pickle, with the tables that this process keeps where it has had them."""
    if version != __version__:
        raise ScarfdateError(
            f"scarfdate {version} sent parts to be dated by scarfdate {__version__}, "
            "which may answer otherwise; install one version everywhere"
        )
    if priors.hash != hash_:
        raise ScarfdateError(
            f"priors: tables of the hash {shown(hash_[:12])} were sent, and what arrived has {shown(priors.hash[:12])}; "
            "send them again"
        )
    with _LOCK:
        ready = _kept.pop(hash_, priors)
        _kept[hash_] = ready
        while len(_kept) > _KEPT_TABLES:
            del _kept[next(iter(_kept))]
    channel, level, as_of, unit, on_error, columns = told
    return PartitionDater(
        priors=ready, priors_hash=hash_, channel=channel, level=level, as_of=as_of, unit=unit,
        on_error=on_error, columns=columns,
    )  # fmt: skip
