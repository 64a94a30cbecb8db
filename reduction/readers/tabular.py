"""Files that carry their own columns: Parquet and JSON."""

from __future__ import annotations

import io
import json
from dataclasses import replace

import pyarrow as pa
import pyarrow.json as pajson
import pyarrow.parquet as pq

from reduction.errors import UnreadableFile
from reduction.readers.delimited import retyped
from reduction.readers.grid import Grid
from reduction.readers.json_shapes import flat, unfolded
from reduction.readers.refusals import refusal
from reduction.readers.source import MAX_UNPACKED, Source
from reduction.readers.table import Fault

MAX_COLUMNS = 2000
_BLOCK = 1 << 24
_MOST_ARRAY = 1 << 26
_DEEPEST = 8


def read_parquet(source: Source) -> Grid:
    """Read a Parquet file.

    Raises
    ------
    UnreadableFile
        If it is damaged or unpacks to more than any log holds.
    """
    try:
        file = pq.ParquetFile(io.BytesIO(source.data))
        size = sum(file.metadata.row_group(i).total_byte_size for i in range(file.metadata.num_row_groups))
        if size > MAX_UNPACKED or file.metadata.num_columns > MAX_COLUMNS:
            raise refusal(source.name, f"{file.metadata.num_columns} columns of {size / 1e6:,.0f} MB")
        return _grid(file.read(), source.name)
    except (pa.ArrowException, OSError, KeyError, NotImplementedError) as error:
        if isinstance(error, UnreadableFile):
            raise
        raise refusal(source.name, "a damaged Parquet file") from error


def read_json_lines(text: bytes, file: str) -> Grid:
    """Read one JSON object per line, or one document that holds the readings in some order.

    Raises
    ------
    UnreadableFile
        If it is neither.
    """
    if text.lstrip()[:1] == b"[" or _is_one_document(text):
        text = _lines_of_document(text, file)
    try:
        return _grid(_parse_json(text.strip() + b"\n"), file)
    except pa.ArrowException as error:
        return _patiently(text, file, error)


def _is_one_document(text: bytes) -> bool:
    """Tell one object over the whole file from one in each line, by whether the first line is one of its own."""
    first, _, rest = text.strip().partition(b"\n")
    try:
        found = json.loads(first)
    except (ValueError, RecursionError):
        return len(text) <= _MOST_ARRAY and rest.lstrip()[:1] not in {b"{", b""}
    return not rest.strip() and isinstance(found, dict) and any(isinstance(v, dict | list) for v in found.values())


def _parse_json(text: bytes) -> pa.Table:
    """Parse JSON lines with stamps left as texts: as instants the parser would drop the zone that they carry."""
    options = pajson.ReadOptions(block_size=_BLOCK)
    table = pajson.read_json(pa.BufferReader(text), read_options=options)
    stamps = [f for f in table.schema if pa.types.is_timestamp(f.type)]
    if not stamps:
        return _flat(table)
    schema = pa.schema([pa.field(f.name, pa.string()) for f in stamps])
    parse = pajson.ParseOptions(explicit_schema=schema, unexpected_field_behavior="infer")
    table = pajson.read_json(pa.BufferReader(text), read_options=options, parse_options=parse)
    for field in stamps:
        index = table.schema.get_field_index(field.name)
        table = table.set_column(index, field.name, retyped(_plain(table.column(index)), "."))
    return _flat(table)


def _flat(table: pa.Table) -> pa.Table:
    """Flatten nested objects; stamps inside them have lost their zone and are not used."""
    whole = table.flatten()
    for _ in range(_DEEPEST):
        if not any(pa.types.is_struct(field.type) for field in whole.schema):
            break
        whole = whole.flatten()
    return whole.drop_columns(
        [f.name for f in whole.schema if pa.types.is_timestamp(f.type) and f.name not in table.column_names]
    )


def _lines_of_document(text: bytes, file: str) -> bytes:
    if len(text) > _MOST_ARRAY:
        raise refusal(file, f"one JSON document of {len(text) / 1e6:,.0f} MB", "one JSON object per line")
    try:
        rows = unfolded(json.loads(text))
    except (ValueError, RecursionError) as error:
        raise refusal(file, "JSON that breaks off or is damaged") from error
    if not rows:
        raise refusal(file, "JSON that is no list of readings", "readings with their times, by rows or by columns")
    return "\n".join(json.dumps(r) for r in rows).encode()


def _patiently(text: bytes, file: str, error: Exception) -> Grid:
    """Read line by line where a column changes its type or a line is broken."""
    rows: list[dict[str, str | None]] = []
    broken: list[int] = []
    lines = text.splitlines()
    for number, line in enumerate(lines, start=1):
        try:
            row = json.loads(line) if line.strip() else None
        except (ValueError, RecursionError):
            broken.append(number)
            continue
        if isinstance(row, dict):
            rows.append({str(k): None if v is None else str(v) for k, v in flat(row).items()})
    names = dict.fromkeys(k for r in rows for k in r)
    if not rows or len(names) > MAX_COLUMNS or len(broken) > len(rows):
        raise refusal(file, "JSON that is no list of readings") from error
    table = pa.table({n: retyped(pa.array([r.get(n) for r in rows], pa.string()), ".") for n in names})
    return replace(_grid(table, file), faults=_broken_lines(broken, len(lines)))


def _broken_lines(broken: list[int], lines: int) -> tuple[Fault, ...]:
    if not broken:
        return ()
    if broken == [lines]:
        return (
            Fault("truncated_last_line", 1, lines, None, f"The last line (row {lines}) breaks off; it is left out."),
        )
    sentence = f"{len(broken)} line(s) are no JSON and are left out; the first is row {broken[0]}."
    return (Fault("broken_line", len(broken), broken[0], None, sentence),)


def _grid(table: pa.Table, file: str) -> Grid:
    names = [n for n in table.column_names if not pa.types.is_nested(table.schema.field(n).type)]
    if not names or not table.num_rows:
        raise refusal(file, "no rows of readings")
    columns = tuple(_plain(table.column(n)) for n in names)
    blank = ("",) * len(names)
    return Grid(tuple(names), columns, blank, blank)


def _plain(column: pa.ChunkedArray) -> pa.Array:
    array = column.combine_chunks()
    if isinstance(array, pa.ChunkedArray):
        array = pa.concat_arrays(array.chunks) if array.num_chunks else pa.array([], array.type)
    kind = array.type
    if pa.types.is_dictionary(kind):
        array, kind = array.cast(kind.value_type), kind.value_type
    if pa.types.is_large_string(kind) or pa.types.is_string_view(kind):
        return array.cast(pa.string())
    if pa.types.is_binary(kind) or pa.types.is_large_binary(kind):
        return pa.array([None if v is None else v.decode("utf-8", "replace") for v in array.to_pylist()], pa.string())
    if pa.types.is_decimal(kind) or pa.types.is_null(kind):
        return array.cast(pa.float64())
    return array
