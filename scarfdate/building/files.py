"""The files that `scarfdate.building.build` writes, from what was estimated from the records."""

from __future__ import annotations

from scarfdate.building.compared import compared_rows
from scarfdate.building.made import SIZE, Made, Row, museum_csv, rows_csv
from scarfdate.building.museum_files import museum_files
from scarfdate.building.shipped import share_rows, size_rows
from scarfdate.building.trade_tables import trade_tables


def built_files(made: Made) -> dict[str, bytes]:
    """Every file by its name in the priors folder."""
    files = museum_files(made)
    if made.trade is not None:
        files |= {f"trade/{name}": content for name, content in trade_tables(made.trade).items()}
    compared: list[Row] = []
    for family in made.sources.families:
        if family not in made.expert.shares:
            continue  # a measured one: see below
        rows = share_rows(made, family)
        files[f"shares/{family}.csv"] = rows_csv(rows)
        compared += compared_rows(made, family, rows)
    files[f"measured/{SIZE}.csv"] = rows_csv(size_rows(made))
    files["museum/compared.csv"] = museum_csv(made, compared)
    return files
