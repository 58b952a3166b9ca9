"""A small TOML file of settings, by whomever it was written: bounded in bytes, in depth and in dots."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from scarfdate.errors import TableError
from scarfdate.files import read_at_most
from scarfdate.reading.table import printable

# dots of one line, up to a comment: each part of a name is a table in a table, and reading them takes the square
_DOTTED = re.compile(r"^(?:[^.#\n]*+\.){65}", re.MULTILINE)

_LONGEST_SAID = 200  # characters of what the reader of TOML says: it quotes what it could not read


def read_toml(path: Path, longest: int, what: str) -> dict[str, Any]:
    """The tables of a file of at most ``longest`` bytes; ``what``: it is to be, for messages. Raises TableError."""
    name = printable(str(path))
    try:
        content = read_at_most(path, longest + 1)
        if len(content) > longest:
            raise TableError(f"{name}: more than {longest} bytes, too long for {what}")
        text = content.decode("utf-8-sig")
        if _DOTTED.search(text):
            raise TableError(f"{name}: no {what.partition(' ')[2]} (a line with more than 64 dots)")
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise TableError(
            f"{name}: not TOML ({str(error)[:_LONGEST_SAID]}); data/ has examples"
        ) from None
    except UnicodeDecodeError:
        raise TableError(f"{name}: not UTF-8 text; save the file as UTF-8") from None
    except RecursionError:
        raise TableError(
            f"{name}: no {what.partition(' ')[2]} (tables too deep in one another)"
        ) from None
    except FileNotFoundError:
        raise TableError(f"{name}: there is no such file; check the path") from None
    except (OSError, ValueError) as error:
        if isinstance(error, TableError):
            raise
        raise TableError(f"{name}: cannot be read ({str(error)[:_LONGEST_SAID]})") from None
