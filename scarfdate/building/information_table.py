"""``information.csv``: the bits that each clue carries, kept with the priors so that they are at hand.

    python -m scarfdate.building.information_table priors/information.csv

After any change of the tables it is written anew; a test compares.
"""

from __future__ import annotations

import csv
import io

from scarfdate.building.information import clue_information
from scarfdate.conventions import CHANNEL
from scarfdate.tables.priors import Priors

_AS_OF = 2026  # so that the table does not change with the calendar
_DRAWS = 6000  # with fewer, what may say nothing would be a matter of the seed


def information_table(priors: Priors | None = None, channel: str = CHANNEL) -> bytes:
    """`clue_information` as a table of a priors folder."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    columns = ["family", "grade", "bits", "lower", "upper", "beyond_chance", "reaches_zero"]
    writer.writerow([*columns, "basis", "source", "note"])
    source = f"python -m scarfdate.building.information_table; channel {channel}, as of {_AS_OF}"
    note = "the interval is what as many records as the table is worth leave open"
    for row in clue_information(priors, channel, as_of=_AS_OF, draws=_DRAWS).to_dict("records"):
        numbers = [f"{row[name]:.3f}" for name in columns[2:6]]
        zero = "yes" if row["reaches_zero"] else "no"
        writer.writerow(
            [row["family"], row["grade"], *numbers, zero, "common practice", source, note]
        )
        note = ""
    return text.getvalue().encode("utf-8")


if __name__ == "__main__":
    import sys
    from pathlib import Path

    from scarfdate.files import write_whole

    write_whole(Path(sys.argv[1]), information_table())
