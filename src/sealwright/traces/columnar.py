"""Parquet: the wanted columns batch by batch, in bounded memory."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from sealwright.errors import BadInput
from sealwright.traces.delimited import Batch, opened

ROWS = 65_536


def is_parquet(path: Path) -> bool:
    with opened(path) as file:
        return file.read(4) in (b"PAR1", b"PARE") or path.suffix.lower() in (".parquet", ".pq")


def open_parquet(path: Path) -> Any:
    """A pyarrow ParquetFile; BadInput when the file is encrypted, cut or none."""
    import pyarrow as pa
    from pyarrow import parquet

    with opened(path) as file:
        start = file.read(4)
    if start == b"PARE":
        raise BadInput("the file is encrypted", place=str(path), mend="Export the trace without encryption")
    try:
        return parquet.ParquetFile(path, pre_buffer=False, memory_map=False, buffer_size=1 << 20)
    except (pa.ArrowException, OSError, ValueError) as e:
        encrypted = "encrypt" in str(e).lower() or "crypto" in str(e).lower()
        said = ("the file is encrypted" if encrypted else "this is no Parquet file" if start != b"PAR1" else
                "the file is cut short or damaged")
        mend = "Export the trace without encryption" if encrypted else "Copy or export the file again"
        raise BadInput(said, place=str(path), mend=mend) from None


def parquet_batches(path: Path, wanted: Sequence[str]) -> Iterator[Batch]:
    """Row numbers count from 1: there is no header row."""
    import pyarrow as pa

    file = open_parquet(path)
    names = file.schema_arrow.names
    for w in wanted:
        if names.count(w) != 1:
            said = f"no column {w!r}; there are {', '.join(map(repr, names[:30]))}"
            raise BadInput(said if w not in names else f"{names.count(w)} columns are called {w!r}", place=str(path),
                           mend="Name one of the columns, each called its own name")
        if pa.types.is_nested(file.schema_arrow.field(w).type):
            raise BadInput(f"the column {w!r} holds {file.schema_arrow.field(w).type}, not single values",
                           place=str(path), mend="Export one value to a cell")
    first, rows, size = 1, max(file.metadata.num_rows, 1), path.stat().st_size
    try:
        for batch in file.iter_batches(batch_size=ROWS, columns=list(wanted), use_threads=False):
            yield Batch(first, {w: _plain(batch.column(batch.schema.get_field_index(w))) for w in wanted},
                        int(size * (first + batch.num_rows - 1) / rows))
            first += batch.num_rows
    except (pa.ArrowException, OSError) as e:
        raise BadInput(f"the file is damaged ({str(e)[:100]})", place=f"{path}: row {first} or after",
                       mend="Copy or export the file again") from None


def _plain(column: Any) -> Any:
    import pyarrow as pa

    return column.cast(column.type.value_type) if pa.types.is_dictionary(column.type) else column
