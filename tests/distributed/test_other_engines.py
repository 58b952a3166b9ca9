"""Spark in local mode and Ray Data on this machine, by the recipes of `scarfdate.distributed`, word for word: what `date_table`
answers, to the bit.

    python -m pip install pyspark "ray[data]"; apt-get install default-jre-headless
    pytest -m long tests/distributed/test_other_engines.py

Neither is in an extra: Spark alone is four hundred megabytes and wants a Java runtime, more than CI has minutes for. Where one
of them or Java is missing, the test says so.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from typing import Any

import pandas as pd
import pytest

from scarfdate import date_table
from tests.distributed.pieces import AS_OF, drawn, same, stock
from tests.distributed.recipes import recipe, run

pytestmark = pytest.mark.long


def pieces() -> pd.DataFrame:
    """The stock as text, and numbers of drawn pieces with some missing, several batches of an engine."""
    frame = pd.concat(
        [stock().drop(columns=["width_cm", "momme", "stitches_per_inch", "height_cm"]), drawn(500)]
    )
    frame = frame.reset_index(drop=True).assign(id=lambda all_: [f"P{at:04}" for at in all_.index])
    return frame.astype(object).where(frame.notna(), None).infer_objects()


@pytest.fixture(scope="module")
def spark() -> Iterator[Any]:
    pyspark = pytest.importorskip(
        "pyspark.sql", reason="Spark is not installed: pip install pyspark"
    )
    if shutil.which("java") is None:
        pytest.skip(
            "Spark wants a Java runtime, and there is none: apt-get install default-jre-headless"
        )
    os.environ["PYSPARK_PYTHON"] = sys.executable
    os.environ["SPARK_LOCAL_IP"] = "127.0.0.1"
    session = (
        pyspark.SparkSession.builder.master("local[2]")
        .config("spark.ui.enabled", "false")
        .config("spark.driver.host", "127.0.0.1")
        .config("spark.sql.execution.arrow.maxRecordsPerBatch", 97)
        .getOrCreate()
    )
    yield session
    session.stop()


def test_spark(spark: Any) -> None:
    frame = pieces()
    sheet = spark.createDataFrame(frame).repartition(4)
    names = run(recipe("Spark"), spark=spark, sheet=sheet)
    found = names["dated"].toPandas().sort_values("id").reset_index(drop=True)  # type: ignore[attr-defined]
    wanted = date_table(frame, as_of=AS_OF)
    assert found.columns.tolist() == [*frame.columns, *wanted.columns]
    same(found[wanted.columns].astype(wanted.dtypes), wanted)


def test_ray(monkeypatch: pytest.MonkeyPatch) -> None:
    # else it joins its processes by the address that this machine has in its network, which no test may reach
    monkeypatch.setenv("RAY_ENABLE_WINDOWS_OR_OSX_CLUSTER", "0")
    ray = pytest.importorskip("ray", reason='Ray is not installed: pip install "ray[data]"')
    frame = pieces()
    ray.init(num_cpus=2, include_dashboard=False, log_to_driver=False)
    try:
        sheet = ray.data.from_pandas(
            [frame.iloc[start : start + 200] for start in range(0, len(frame), 200)]
        )
        names = run(recipe("Ray"), sheet=sheet)
        found = names["dated"].to_pandas()  # type: ignore[attr-defined]
    finally:
        ray.shutdown()
    found = found.sort_values("id").reset_index(drop=True)
    wanted = date_table(frame, as_of=AS_OF)
    same(found[wanted.columns].astype(wanted.dtypes), wanted)
