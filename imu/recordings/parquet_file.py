"""How tables are packed into Parquet files: small, and quick to write and to read.

Whole numbers are kept by their steps, which a counter or a clock has few of. Floats are kept
byte by byte, which suits smooth curves; those drawn from few values, as a sensor's counts scaled
to SI, as a list of the values. All are encodings of the Parquet format (Apache Parquet 2.9,
"Encodings": DELTA_BINARY_PACKED, BYTE_STREAM_SPLIT, RLE_DICTIONARY), compressed with zstd. Not
every reader knows the first two: what is handed out goes without them.
"""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import IO, Any

import pyarrow as pa
import pyarrow.parquet as pq

ROWS_A_GROUP = 1 << 18


def write_packed(
    table: pa.Table,
    target: Path | IO[bytes],
    few_values: Collection[str] = (),
    for_any_reader: bool = False,
) -> None:
    """Write ``table`` as Parquet with page checksums.

    few_values : names of the float columns that repeat a limited set of values.
    for_any_reader : numbers plain, so that every reader of Parquet knows them.
    Raises OSError when the disk refuses.
    """
    encodings: dict[str, str] = {}
    for field in table.schema:
        if pa.types.is_integer(field.type):
            encodings[field.name] = "PLAIN" if for_any_reader else "DELTA_BINARY_PACKED"
        elif pa.types.is_floating(field.type) and field.name not in few_values:
            encodings[field.name] = "PLAIN" if for_any_reader else "BYTE_STREAM_SPLIT"
    options: dict[str, Any] = {
        "column_encoding": encodings,
        "use_dictionary": [name for name in table.column_names if name not in encodings],
        "dictionary_pagesize_limit": 1 << 20,
    }
    pq.write_table(
        table,
        target,
        compression="zstd",
        row_group_size=ROWS_A_GROUP,
        write_page_checksum=True,
        **options,
    )
