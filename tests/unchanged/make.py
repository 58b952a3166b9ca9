"""Answers of a known commit, kept so that a later one can be held to them; made anew by

    python -m tests.unchanged.make

which dates the demo stock, the texts of the demo labels and 2,000 stored scarves, as of 2026, and writes
beside this file what an issue that changes tables on purpose replaces:

- ``answers.npz``: for each part ("stock", "labels", "scarves") the probabilities of the years from 1880
  to 2026, one row a piece. They are kept as whole multiples of 2**-42 (2.3e-13), so that a kept value is
  within 1.2e-13 of the answer and 1e-12 is resolved. Of these whole numbers the second
  differences along the years are taken (a smooth curve has small ones), folded to 0, 1, 2, ... for
  0, -1, 1, ..., and laid out byte by byte, lowest bytes first, since high bytes are nearly all zero and
  compress well. `unpacked` undoes it exactly. No part may hold a row that cannot be read.
- ``columns.csv``: the columns of `date_table` for stock and labels, in full digits, without sentences.
- ``sentences.csv``: their sentences, which may change with the wording; no test reads them.

``scarves.csv`` holds the scarves themselves, since a later `simulate` may draw others. It was made by
``python -m tests.unchanged.make --draw``, with sizes rounded to two decimals and the channel beside, and
is left alone without that option.
"""

from __future__ import annotations

import argparse
import io
from pathlib import Path

import numpy as np
import pandas as pd

from scarfdate import date_table, simulate
from scarfdate.files import write_whole

HERE = Path(__file__).parent
DATA = HERE.parents[1] / "data"
AS_OF, SEED = 2026, 5272
STEP = 2.0**-42
PARTS = ("stock", "labels", "scarves")
CHANNELS = {
    "thrift": 400, "estate": 300, "auction": 200, "dealer": 200, "museum": 200,
    "museum-scarf": 100, "museum-textile": 100, "thrift-us": 100, "thrift-canada": 80,
    "thrift-europe": 80, "estate-europe": 80, "auction-europe": 80, "dealer-europe": 80,
}  # fmt: skip
LOOKED_AT = (0.3, 0.6, 0.9)  # a third each of a channel's scarves

Dated = tuple[pd.DataFrame, np.ndarray]


def packed(probability: np.ndarray) -> np.ndarray:
    """Probabilities, (rows, years), as bytes, (8, rows, years); see the head of this file."""
    if not np.isfinite(probability).all():
        raise ValueError("a piece could not be dated")
    whole = np.rint(probability / STEP).astype(np.int64)
    bends = np.diff(whole, n=2, axis=1, prepend=np.zeros((len(whole), 2), dtype=np.int64))
    folded = ((bends << 1) ^ (bends >> 63)).astype("<u8")
    return np.moveaxis(folded[..., None].view(np.uint8), -1, 0)


def unpacked(planes: np.ndarray) -> np.ndarray:
    """The probabilities again, (rows, years), each within half a step of what was packed."""
    folded = np.ascontiguousarray(np.moveaxis(planes, 0, -1)).view("<u8")[..., 0].astype(np.int64)
    bends = (folded >> 1) ^ -(folded & 1)
    return bends.cumsum(axis=1).cumsum(axis=1) * STEP


def label_texts() -> pd.DataFrame:
    """The demo labels as a frame to be dated by nothing but their text."""
    labels = pd.read_csv(DATA / "labels.csv")
    return pd.DataFrame({"id": labels["id"], "label_text": labels["text"]})


def dated() -> dict[str, Dated]:
    """What the library answers now, for every part."""
    scarves = pd.read_csv(HERE / "scarves.csv")
    by_channel = [
        date_table(
            rows.drop(columns="channel"),
            channel=channel,
            as_of=AS_OF,
            with_years=True,
            on_error="collect",
        )
        for channel, rows in scarves.groupby("channel")
    ]
    frame = pd.concat([found for found, _ in by_channel])
    order = np.argsort(frame.index)
    years = np.concatenate([found for _, found in by_channel])
    return {
        "stock": date_table(
            pd.read_csv(DATA / "stock.csv"), as_of=AS_OF, with_years=True, on_error="collect"
        ),
        "labels": date_table(label_texts(), as_of=AS_OF, with_years=True, on_error="collect"),
        "scarves": (frame.iloc[order], years[order]),
    }


def kept_years() -> dict[str, np.ndarray]:
    """The kept probabilities of every part."""
    with np.load(HERE / "answers.npz") as file:
        return {part: unpacked(file[part]) for part in PARTS}


def draw() -> pd.DataFrame:
    """Scarves of all channels, from those with few clues to those with nearly all."""
    rng = np.random.default_rng(SEED)
    drawn = []
    for channel, n in CHANNELS.items():
        for place, share in enumerate(LOOKED_AT):
            part = (n + place) // len(LOOKED_AT)
            found = simulate(None, part, rng, channel=channel, as_of=AS_OF, looked_at=share)
            frame = found.frame().round(2)
            frame.insert(0, "channel", channel)
            drawn.append(frame)
    return pd.concat(drawn, ignore_index=True)


def write_csv(name: str, frame: pd.DataFrame) -> None:
    """A frame as a CSV file beside this one."""
    text = io.StringIO()
    frame.to_csv(text, index=False, lineterminator="\n")
    write_whole(HERE / name, text.getvalue().encode())


def main() -> None:
    """Write all files, the scarves themselves only where that is asked for."""
    parser = argparse.ArgumentParser(
        description="Write the answers that later commits are held to."
    )
    parser.add_argument("--draw", action="store_true", help="draw the scarves anew, too")
    if parser.parse_args().draw:
        write_csv("scarves.csv", draw())
    answers = dated()
    archive = io.BytesIO()
    np.savez_compressed(archive, **{part: packed(answers[part][1]) for part in PARTS})
    write_whole(HERE / "answers.npz", archive.getvalue())
    named = {"stock": pd.read_csv(DATA / "stock.csv")["id"], "labels": label_texts()["id"]}
    told = pd.concat(
        [answers[part][0].assign(part=part, id=ids) for part, ids in named.items()]
    ).rename(columns={"agreement": "predictive_p"})  # its name before the front door changed it
    write_csv(
        "columns.csv",
        told[
            [
                "part", "id", "year_from", "year_to", "median_year", "decade", "decade_probability",
                "period_probability", "predictive_p", "edtf",
            ]
        ],
    )  # fmt: skip
    write_csv("sentences.csv", told[["part", "id", "sentence"]])


if __name__ == "__main__":
    main()
