"""On a real cluster of two worker processes: what one machine answers, to the bit; tables that are sent once; a worker that is
killed mid-run, whose partition alone is dated again.

Where Dask is not installed (extra `distributed`) they are left out with that reason; that CI has it is tested in
`test_partition.py`.
"""

from __future__ import annotations

import os
import pickle
import signal
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from scarfdate import TableError, __version__, date_table, load_priors
from scarfdate.distributed import date_frame, partition
from scarfdate.tables.priors import shipped_folder
from tests.distributed.pieces import AS_OF, NAMES, same, stock

pytest.importorskip("distributed", reason="needs the extra `distributed`")
import dask
import dask.dataframe as dd
from distributed import Client, LocalCluster, as_completed, wait

PARTS = 8
KILLED = 5  # the number of the partition whose worker is killed


# --- without a cluster


@pytest.fixture
def in_one_thread() -> Iterator[None]:
    with dask.config.set(scheduler="synchronous"):
        yield


@pytest.mark.usefixtures("in_one_thread")
def test_lazy_with_the_types_of_the_answer() -> None:
    frame = stock().assign(colour="red")
    given = dd.from_pandas(frame, npartitions=3)
    answer = date_frame(given, as_of=AS_OF, columns=NAMES)
    wanted = date_table(frame, as_of=AS_OF, columns=NAMES)
    assert isinstance(answer, dd.DataFrame)
    assert (answer.npartitions, answer.divisions) == (given.npartitions, given.divisions)
    assert answer.dtypes.astype(str).tolist() == wanted.dtypes.astype(str).tolist()
    found = answer.compute()
    same(found, wanted)
    assert found.attrs == wanted.attrs == {"not_used": ["colour"]}


@pytest.mark.usefixtures("in_one_thread")
@pytest.mark.sampled(1)
@pytest.mark.parametrize("on_error", ["leave-out", "collect"])
def test_ids_are_told_across_partitions(on_error: str) -> None:
    """Whatever they are: texts, numbers, blank ones; and nothing of it where nobody wants to know."""
    numbers = pd.DataFrame(
        {"id": [1, 2.0, None, None, 2, 1], "fibre": "silk", "hem": ["rolled", "x"] * 3}
    )
    for frame in (stock(), numbers):
        wanted = date_table(frame, as_of=AS_OF, on_error=on_error)
        for parts in (1, 2, 5):
            given = dd.from_pandas(frame, npartitions=parts)
            same(date_frame(given, as_of=AS_OF, on_error=on_error).compute(), wanted)
    assert wanted["warnings"].notna().sum() == 2
    graph = date_frame(given, as_of=AS_OF, columns=["edtf", "errors"]).__dask_graph__()
    assert not [key for key in graph if "_repeated" in str(key)]


@pytest.mark.usefixtures("in_one_thread")
def test_partitions_that_hold_nothing() -> None:
    frame = stock()
    given = dd.from_pandas(frame, npartitions=4)
    few = given[given["fibre"] == "polyester"]
    same(
        date_frame(few, as_of=AS_OF).compute(),
        date_table(frame[frame["fibre"] == "polyester"], as_of=AS_OF),
    )


def test_what_is_wrong_is_told_before_anything_is_dated() -> None:
    given = dd.from_pandas(pd.DataFrame({"weather": ["fair"], "attic": ["left"]}), npartitions=1)
    with pytest.raises(TableError, match="'weather' is not known"):
        date_frame(given)
    with pytest.raises(TableError, match="no column of the answer"):
        date_frame(dd.from_pandas(stock(), npartitions=1), columns=["x"])


# --- two worker processes


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    quiet = {
        "distributed.admin.large-graph-warning-threshold": "1GB",
        "distributed.logging.distributed": "critical",
    }
    with dask.config.set(quiet):
        cluster = LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None,
            silence_logs=50,
        )  # fmt: skip
        with cluster, Client(cluster) as client:
            yield client


def _noted(answers: pd.DataFrame, size: int, folder: str, killed: int | None) -> pd.DataFrame:
    """Leaves a file for each time that a partition was dated; one partition waits there, once, to be killed."""
    number, place = int(answers.index[0]) // size, Path(folder)
    (place / f"dated-{number}-{os.getpid()}-{time.time_ns()}").touch()
    if number == killed and not [*place.glob("waits-*")]:
        (place / f"waits-{os.getpid()}").touch()
        time.sleep(120)
    return answers


def _dated_in(folder: Path) -> list[tuple[int, int]]:
    """Number and process of each time that a partition was dated."""
    names = (path.name.split("-") for path in folder.glob("dated-*"))
    return [(int(number), int(process)) for _, number, process, _ in names]


def _kill_the_one_that_waits(folder: Path, fetched: Mapping[int, object] | None = None) -> int:
    """The process that was killed: once all else that it dated was fetched, where somebody fetches."""
    ends = time.monotonic() + 100
    while time.monotonic() < ends:
        time.sleep(0.02)
        for path in folder.glob("waits-*"):
            process = int(path.name.partition("-")[2])
            done = {number for number, by in _dated_in(folder) if by == process} - {KILLED}
            if fetched is None or done <= fetched.keys():
                os.kill(process, signal.SIGKILL)
                return process
    raise AssertionError("no partition came to the place where its worker is killed")


def _given(frame: pd.DataFrame, folder: Path, killed: int | None = None) -> Any:
    given = dd.from_pandas(frame, npartitions=PARTS)
    size = len(frame) // PARTS
    answers = date_frame(given, as_of=AS_OF, columns=NAMES)
    return answers.map_partitions(_noted, size, str(folder), killed, meta=answers._meta)


def _pieces() -> pd.DataFrame:
    return stock().iloc[: 7 * PARTS]


ARRIVED: list[str] = []  # of a worker, by their hash
_REAL = partition._arrived


def _counted(*given: Any) -> Any:
    ARRIVED.append(given[2])
    return _REAL(*given)


def _count_arrivals() -> None:
    partition._arrived = _counted


def _arrivals() -> list[str]:
    return ARRIVED


@pytest.mark.slow
def test_tables_go_to_each_worker_once(client: Client, tmp_path: Path) -> None:
    """Tables of one's own, for many partitions: one key of the graph holds them, and each worker unpacks them once."""
    (tmp_path / "own").mkdir()
    text = (shipped_folder() / "slips.csv").read_text("utf-8")
    (tmp_path / "own" / "slips.csv").write_text(text.replace("fibre,1.5", "fibre,40"), "utf-8")
    own = load_priors(tmp_path / "own")
    client.run(_count_arrivals)
    frame = _pieces()
    answer = date_frame(
        dd.from_pandas(frame, npartitions=2 * PARTS), priors=own, as_of=AS_OF, columns=NAMES
    )
    with_tables = client.persist(answer)
    wait(with_tables, timeout=120)
    tasks = client.cluster.scheduler.tasks
    big = {key: len(pickle.dumps(task.run_spec)) for key, task in tasks.items() if task.run_spec}
    tables = [key for key, size in big.items() if size > 50_000]
    assert len(tables) == 1 and own.hash[:16] in str(tables[0])
    assert len(big) > 2 * PARTS
    same(with_tables.compute(), date_table(frame, priors=own, as_of=AS_OF, columns=NAMES))
    arrivals = client.run(_arrivals)
    assert [*arrivals.values()] == [[own.hash]] * 2


@pytest.mark.slow
def test_a_worker_refuses_tables_of_another_hash(client: Client) -> None:
    """What a worker is sent is checked where it arrives."""
    told = ["0" * 64, "thrift", 0.8, AS_OF, None, "leave-out", ("edtf",)]
    future = client.submit(partition._arrived, __version__, load_priors(), *told, pure=False)
    assert "what arrived has" in str(future.exception(timeout=60))


@pytest.mark.slow
def test_a_killed_worker_costs_its_partition_alone(client: Client, tmp_path: Path) -> None:
    """Each answer is fetched as it is ready. The one partition that its worker was at is dated twice, all others once."""
    frame = _pieces()
    wanted = date_table(frame, as_of=AS_OF, columns=NAMES)
    futures = client.compute(_given(frame, tmp_path, KILLED).to_delayed())
    place = {future.key: number for number, future in enumerate(futures)}
    ready = as_completed(futures, with_results=True)
    del futures  # else the cluster would keep what was fetched, and make it again where it is lost
    found: dict[int, pd.DataFrame] = {}
    with ThreadPoolExecutor(1) as pool:
        killing = pool.submit(_kill_the_one_that_waits, tmp_path, found)
        for future, answers in ready:
            found[place[future.key]] = answers
            future.release()
            del future
        killed = killing.result()
    same(pd.concat([found[number] for number in range(PARTS)]), wanted)
    times = Counter(number for number, _ in _dated_in(tmp_path))
    assert times == Counter([*range(PARTS), KILLED])
    assert (KILLED, killed) in _dated_in(tmp_path)
    assert len({process for _, process in _dated_in(tmp_path)}) >= 2


@pytest.mark.long
def test_what_nobody_fetched_from_a_killed_worker_is_dated_again(
    client: Client, tmp_path: Path
) -> None:
    """All at once: partitions that lay finished on the killed worker are dated again too, those of the other are not."""
    client.wait_for_workers(2, timeout=60)
    frame = _pieces()
    future = client.compute(_given(frame, tmp_path, KILLED))
    killed = _kill_the_one_that_waits(tmp_path)
    same(future.result(timeout=120), date_table(frame, as_of=AS_OF, columns=NAMES))
    dated = _dated_in(tmp_path)
    again = {
        number for number, times in Counter(number for number, _ in dated).items() if times > 1
    }
    assert {KILLED} <= again <= {number for number, process in dated if process == killed}
