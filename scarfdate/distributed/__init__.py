"""Tables of many machines and of databases, dated by the engines that hold them; nothing of a cluster is made here.

`date_frame` dates a DataFrame of Dask. `partition_dater` makes the pure function behind it, a part of a table in and
its answers out, which any other engine can send about:

Spark, with the tables broadcast once by their hash::

    from pyspark.sql.types import StructType
    from scarfdate.distributed import partition_dater

    sent = spark.sparkContext.broadcast(partition_dater(as_of=2026))
    schema = StructType(sheet.schema.fields + StructType.fromDDL(sent.value.ddl).fields)
    dated = sheet.mapInPandas(lambda parts: map(sent.value.beside, parts), schema)

Ray Data, which puts what it maps into its store once::

    from scarfdate.distributed import partition_dater

    dated = sheet.map_batches(partition_dater(as_of=2026).beside, batch_format="pandas", batch_size=8192)

DuckDB, inside the database, a vector of rows at a time; ``stock`` is a table or view of clues::

    import duckdb, pyarrow
    from scarfdate.distributed import partition_dater

    dater = partition_dater(as_of=2026, columns=["year_from", "year_to", "median_year", "edtf"])

    def dated(pieces):
        return dater(pyarrow.Table.from_struct_array(pieces)).to_struct_array()

    def kinds(relation):
        return duckdb.struct_type(dict(zip(relation.columns, relation.types)))

    stock = connection.table("stock")
    answers = connection.from_arrow(dater(stock.limit(0).to_arrow_table()))
    connection.create_function(
        "date_scarf", dated, [kinds(stock)], kinds(answers), type="arrow", null_handling="special"
    )
    connection.sql("SELECT id, d.* FROM (SELECT id, date_scarf(stock) AS d FROM stock)")

What a part cannot know: whether an earlier row has the same id. `date_frame` looks; the other three leave that warning
out (``GROUP BY id HAVING count(*) > 1`` finds them). Everything else is what `date_table` says of the whole table, to the bit.
"""

from scarfdate.distributed.dask_frames import date_frame
from scarfdate.distributed.partition import PartitionDater, partition_dater

__all__ = ["PartitionDater", "date_frame", "partition_dater"]
