"""The progress of practice in one small file: JSON with the version of its format, whole or not at all.

Every bet is kept when it is laid. Two that practise into one file at once both write it whole: the last
one wins, and is told so.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from scarfdate.errors import ScarfdateError, shown
from scarfdate.files import check_new, exchange, read_at_most, write_whole
from scarfdate.formats import PROGRESS
from scarfdate.practising.bet import Bet
from scarfdate.practising.history import Played, Step

FORMAT = "practice of scarfdate"
_LARGEST = 20_000_000  # bytes; a thousand rounds are one million


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What has to stay the same for a file to be gone on with."""

    seed: int
    level: str
    clues: tuple[str, ...]
    pieces: str
    channel: str
    as_of: int


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What a progress file holds. ``bets``: those of the round that was open; ``tables``: the hash of the priors."""

    settings: Settings
    tables: str
    played: tuple[Played, ...]
    bets: tuple[Bet, ...]


class ProgressFile:
    """A progress file. ``notes``: what a person should be told about it."""

    def __init__(self, path: str | Path) -> None:
        try:
            self.path = Path(path)
            check_new(self.path, force=True)
        except TypeError:
            raise ScarfdateError(
                f"progress: the name of a file is allowed, got {shown(path)}"
            ) from None
        folder = self.path.absolute().parent
        if not folder.is_dir() or not os.access(folder, os.W_OK):
            raise ScarfdateError(
                f"{shown(str(path))} cannot be written: its folder is not there, or write-protected; {_ANOTHER}"
            )
        self.notes: list[str] = []
        self._last: bytes | None = None  # as it was read or written last

    def read(self) -> Kept | None:
        """What it holds, None where there is no such file yet. Raises ScarfdateError where it is none of ours."""
        self._last = self._content()
        return None if self._last is None else _kept(self._last, self.path.name)

    def write(self, kept: Kept) -> None:
        """Write all of it, whole or not at all. Raises ScarfdateError where it cannot be written."""
        content = json.dumps(_plain(kept), ensure_ascii=False, indent=1).encode()
        try:
            if not exchange(self.path, self._last, content):
                self._tell_of_another()
                write_whole(self.path, content)
        except OSError as error:
            raise ScarfdateError(
                f"{shown(str(self.path))} cannot be written ({error.strerror}); the bet is laid, not kept"
            ) from None
        self._last = content

    def _tell_of_another(self) -> None:
        note = (
            f"{self.path.name} was changed by another while you played; yours is kept, the other is lost. "
            "Give each apprentice a file of her own."
        )
        self.notes += [note] if note not in self.notes else []

    def _content(self) -> bytes | None:
        try:
            content = read_at_most(self.path, _LARGEST + 1)
        except FileNotFoundError:
            return None
        except (OSError, ValueError) as error:
            raise ScarfdateError(f"{shown(str(self.path))} cannot be read ({error})") from None
        if len(content) > _LARGEST:
            raise ScarfdateError(f"{self.path.name} is too large for a progress file; {_ANOTHER}")
        return content


_ANOTHER = "name another file"


def _kept(content: bytes, name: str) -> Kept:
    try:
        plain = json.loads(content)
    except (ValueError, RecursionError):
        raise ScarfdateError(f"{name} is no progress file of practice; {_ANOTHER}") from None
    if not isinstance(plain, dict) or plain.get("format") != FORMAT:
        raise ScarfdateError(f"{name} is no progress file of practice; {_ANOTHER}")
    PROGRESS.checked(plain.get("version"), name, _ANOTHER)
    try:
        return _read(plain)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise ScarfdateError(
            f"{name} is damaged ({type(error).__name__}: {shown(str(error))}); put back a copy of it, or {_ANOTHER}"
        ) from None


def _plain(kept: Kept) -> dict[str, object]:
    return {
        "format": FORMAT,
        "version": PROGRESS.version,
        "tables": kept.tables,
        "settings": asdict(kept.settings),
        "played": [_plain_round(one) for one in kept.played],
        "open": [_plain_bet(bet) for bet in kept.bets],
    }


def _plain_round(played: Played) -> dict[str, object]:
    plain = {name: getattr(played, name) for name in _ROUND}
    return plain | {
        "seen": dict(played.seen),
        "order": list(played.order),
        "bets": [_plain_bet(step.bet) for step in played.steps],
    }


_ROUND = ("known_from", "known_to", "pieces", "channel", "as_of", "deal", "again")
_WORDS = ("pieces", "channel")


def _plain_bet(bet: Bet) -> object:
    if bet.interval is not None:
        return list(bet.interval)
    if bet.chips is None:
        return {"shares": list(bet.shares)}
    laid = zip(bet.decades, bet.chips, strict=True)
    return {str(decade): count for decade, count in laid if count}


def _read(plain: Mapping[str, object]) -> Kept:
    given = _mapping(plain["settings"])
    settings = Settings(
        seed=_whole(given["seed"]),
        level=_text(given["level"]),
        clues=tuple(_text(name) for name in _list(given["clues"])),
        pieces=_text(given["pieces"]),
        channel=_text(given["channel"]),
        as_of=_whole(given["as_of"]),
    )
    return Kept(
        settings=settings,
        tables=_text(plain["tables"]),
        played=tuple(
            _read_round(_mapping(one), place) for place, one in enumerate(_list(plain["played"]), 1)
        ),
        bets=tuple(_read_bet(one, settings.as_of) for one in _list(plain["open"])),
    )


def _read_round(plain: Mapping[str, object], place: int) -> Played:
    """The ``place``-th round, from 1. New pieces are counted on, so that no number in it is beyond its place."""
    order = tuple(_text(name) for name in _list(plain["order"]))
    as_of = _whole(plain["as_of"])
    bets = [_read_bet(one, as_of) for one in _list(plain["bets"])]
    steps = tuple(Step(*pair) for pair in zip((None, *order), bets, strict=True))
    rest = {name: (_text if name in _WORDS else _whole)(plain[name]) for name in _ROUND}
    for name in ("deal", "again"):
        if not 0 <= rest[name] <= place:  # type: ignore[operator]
            raise ValueError(f"{name}: 0 to {place} is allowed in round {place}, got {rest[name]}")
    return Played(seen=_mapping(plain["seen"]), order=order, steps=steps, **rest)  # type: ignore[arg-type]


def _read_bet(plain: object, as_of: int) -> Bet:
    if isinstance(plain, list):
        first, last = (_whole(year) for year in plain)
        return Bet.of_interval(first, last, as_of)
    laid = _mapping(plain)
    if "shares" in laid:
        return Bet.of_shares([float(share) for share in _list(laid["shares"])], as_of)  # type: ignore[arg-type]
    chips = {int(decade): _whole(count) for decade, count in laid.items()}
    return Bet.of_chips(chips, as_of)


def _mapping(value: object) -> Mapping[str, object]:
    if not isinstance(value, dict):
        raise TypeError(f"a table was expected, got {shown(value)}")
    return value


def _list(value: object) -> Sequence[object]:
    if not isinstance(value, list):
        raise TypeError(f"a list was expected, got {shown(value)}")
    return value


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(f"a text was expected, got {shown(value)}")
    return value


def _whole(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise TypeError(f"a whole number was expected, got {shown(value)}")
    return value
