"""Dated inside DuckDB by the recipe of `scarfdate.distributed`, word for word: what `date_table` answers, to the bit, whatever
the types of the columns and on however many threads."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from scarfdate import date_table
from scarfdate.distributed import PartitionDater
from tests.distributed.pieces import AS_OF, drawn, stock
from tests.distributed.recipes import recipe, run

duckdb = pytest.importorskip("duckdb")
pyarrow = pytest.importorskip("pyarrow")
ASKED = ["year_from", "year_to", "median_year", "edtf"]


def database(frame: pd.DataFrame, threads: int = 1, types: dict[str, str] | None = None) -> Any:
    """A database with these pieces in the table ``stock``, some of its columns cast to a type of the database."""
    connection = duckdb.connect(config={"threads": threads})
    connection.register("pieces", pyarrow.Table.from_pandas(frame, preserve_index=False))
    cast = ", ".join(f"{name}::{kind} AS {name}" for name, kind in (types or {}).items())
    connection.execute(
        f"CREATE TABLE stock AS SELECT * {f'REPLACE ({cast})' if cast else ''} FROM pieces"
    )
    return connection


def dated(connection: Any, asked: list[str] | None = None) -> pd.DataFrame:
    names = {} if asked is None else {"asked": asked}
    code = recipe("DuckDB")
    if asked is not None:
        wanted = '["year_from", "year_to", "median_year", "edtf"]'
        assert wanted in code
        code = code.replace(wanted, "asked")
    found = run(code, connection=connection, **names)["last"]
    return found.to_arrow_table().to_pandas()  # type: ignore[attr-defined, no-any-return]


def same(found: pd.DataFrame, wanted: pd.DataFrame) -> None:
    """To the bit, but for the kinds of columns, which are those of the database."""
    for name in wanted.columns:
        cells = [None if pd.isna(cell) else cell for cell in wanted[name]]
        assert [None if pd.isna(cell) else cell for cell in found[name]] == cells, name


def test_the_recipe_as_it_stands() -> None:
    frame = stock()
    found = dated(database(frame))
    assert found.columns.tolist() == ["id", *ASKED]
    assert found["id"].tolist() == frame["id"].tolist()
    same(found, date_table(frame, as_of=AS_OF, columns=ASKED))


TYPES: dict[str, dict[str, str]] = {
    "words of an ENUM": {"fibre": "ENUM('silk', 'polyester', 'cotton', 'wool', 'rayon')"},
    "decimals": {"width_cm": "DECIMAL(6, 1)", "height_cm": "DECIMAL(6, 1)"},
    "single": {"width_cm": "FLOAT"},
    "whole": {"stitches_per_inch": "INTEGER"},
    "text": {"width_cm": "VARCHAR"},
    "as they came": {},
}


@pytest.mark.sampled(3)
@pytest.mark.parametrize("kind", TYPES)
def test_types_of_the_database(kind: str) -> None:
    """Missing cells among them; beside `date_table` of the same table, which reads it as a relation."""
    frame = drawn(60)
    words = frame["fibre"].isin(["silk", "polyester", "cotton", "wool", "rayon"])
    frame["fibre"] = frame["fibre"].where(words, None)
    frame.loc[[3, 4], ["width_cm", "hem", "stitches_per_inch"]] = None
    asked = [*ASKED, "decade_probability", "sentence", "warnings", "not_read"]
    connection = database(frame, types=TYPES[kind])
    wanted = date_table(connection.table("stock"), as_of=AS_OF, columns=asked)
    found = dated(connection, asked)
    same(found, wanted.to_arrow_table().to_pandas())
    assert found["median_year"].notna().all()


def test_a_table_of_nothing_but_missing_cells() -> None:
    frame = pd.DataFrame(
        {"id": ["a", "b"], "fibre": pd.array([None, None], dtype="string"), "hem": ["rolled", None]}
    )
    same(dated(database(frame)), date_table(frame, as_of=AS_OF, columns=ASKED))


@pytest.mark.slow
def test_several_threads_and_cursors(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Vectors dated on both threads of a database, and by two cursors at once; every row once and as ever."""
    frame = pd.concat([drawn(2_000)] * 4, ignore_index=True)
    frame["id"] = [f"P{at}" for at in range(len(frame))]
    connection = database(frame, threads=2)
    # threads share a table out by its groups of rows, which are of 122,880 unless something else is said
    connection.execute(f"ATTACH '{tmp_path / 'small.db'}' AS small (ROW_GROUP_SIZE 2048)")
    connection.execute(
        "CREATE TABLE small.stock AS SELECT * FROM stock; DROP TABLE stock; USE small"
    )
    by_thread: list[tuple[int, int]] = []
    real = PartitionDater.__call__

    def counted(dater: PartitionDater, table: Any) -> Any:
        by_thread.append((threading.get_ident(), len(table)))
        return real(dater, table)

    monkeypatch.setattr(PartitionDater, "__call__", counted)
    wanted = date_table(frame, as_of=AS_OF, columns=ASKED).assign(id=frame["id"]).set_index("id")
    one = dated(connection)
    same(one.set_index("id").loc[frame["id"]], wanted)
    assert sum(rows for _, rows in by_thread) == len(frame)
    assert len({thread for thread, rows in by_thread if rows}) == 2
    query = "SELECT id, d.* FROM (SELECT id, date_scarf(stock) AS d FROM small.stock)"
    found: list[Any] = [None] * 2

    def ask(at: int) -> None:
        found[at] = connection.cursor().sql(query).to_arrow_table().to_pandas()

    asking = [threading.Thread(target=ask, args=(at,)) for at in range(2)]
    for thread in asking:
        thread.start()
    for thread in asking:
        thread.join()
    for each in found:
        same(each.set_index("id").loc[frame["id"]], wanted)
