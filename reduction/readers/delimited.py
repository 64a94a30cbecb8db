"""Delimited text to a grid: Arrow's parser for the bulk, patience for what it cannot read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from reduction.errors import Place, UnreadableValue
from reduction.readers.blanks import parted_by_tabs, with_whole_headings
from reduction.readers.decimal_marks import GROUPED_POINT, decimal_mark
from reduction.readers.grid import MISSING_WORDS, Grid, Layout, as_text
from reduction.readers.heading_rows import unique_names
from reduction.readers.headings import parse_headings
from reduction.readers.layout import layout_of_rows, read_layout, split_lines
from reduction.readers.refusals import refusal
from reduction.readers.source import MAX_LINE
from reduction.readers.table import Fault, Guess, Question
from reduction.session import Profile

_MOST_LINES = 20_000  # looked at for one telling number
_GROUP_FROM = 100.0
_BLOCK = 1 << 17
_MOST_REMARKS = 0.5  # of the rows; more are readings of a channel whose name begins so


class AmbiguousNumber(UnreadableValue):
    """A point that may be decimal or may group thousands; `question` is what to ask."""

    def __init__(self, place: Place, found: str) -> None:
        self.question = Question("decimal", (".", ","), f"{found} may be a decimal or thousands, and no row settles it")
        super().__init__(
            place=place, found=found, expected="a number that can be read in one way only",
            remedy="Say which mark is the decimal one (decimal: “.” or “,”).",
        )  # fmt: skip

    def __reduce__(self) -> tuple[object, ...]:
        """Travel between processes as it was made."""
        return type(self), (self.place, self.found)


def read_delimited(text: bytes, file: str, profile: Profile) -> Grid:
    """Read delimited text.

    Parameters
    ----------
    text
        UTF-8 without mark and NUL.

    Raises
    ------
    UnreadableFile
        If it has no rows of data.
    """
    text = text if profile.delimiter else parted_by_tabs(text) or text
    text = with_whole_headings(text)
    layout = read_layout(text[:MAX_LINE].decode(errors="replace"), file, profile)
    if not layout.decimal_because:
        layout = _settle_points(text, layout, file, profile)
    skipped: list[pacsv.InvalidRow] = []
    table = _parse(text, layout, skipped, file)
    columns = tuple(_whole(c) for c in table.columns)
    guesses = (
        Guess("delimiter", _spoken(layout.delimiter), "splits the rows into equal fields", 0.99),
        Guess("decimal", layout.decimal, layout.decimal_because, 0.95),
    )
    faults = _skipped_fault(text, layout, skipped)
    grid = Grid(layout.names, columns, layout.units, layout.statistics, layout.preamble, layout.first_data_line + 1,
        layout.delimiter, layout.decimal, layout.has_heading, None, faults, guesses,
        lines_without_row=_lines_without_row(text, layout, skipped, table.num_rows))  # fmt: skip
    return _without_repeated_headings(_without_comments(grid))


def _settle_points(text: bytes, layout: Layout, file: str, profile: Profile) -> Layout:
    """Settle by the whole file whether points such as that of 1.204 are decimal or group thousands.

    Raises
    ------
    AmbiguousNumber
        If every number of the file can be read both ways.
    """
    lines = text.decode(errors="replace").split("\n", _MOST_LINES)[layout.first_data_line : _MOST_LINES]
    rows = [r for r in split_lines(lines, layout.delimiter, layout.quoted) if len(r) == len(layout.names)]
    decimal, because = decimal_mark(rows, layout.delimiter, profile)
    if because:
        return replace(layout, decimal=decimal, decimal_because=because)
    headings = parse_headings(layout.names, layout.units, layout.statistics)
    column, example = "", ""
    for heading, cells in zip(headings, zip(*rows, strict=True), strict=True):
        pointed = [c for c in cells if GROUPED_POINT.fullmatch(c.strip())]
        if pointed and heading.quantity in {"temperature", "humidity"}:
            because = f"“{heading.text}” of {pointed[0]} can only have a decimal point"
            return replace(layout, decimal_because=because)
        whole = max((float(c) for c in cells if c.strip().isdigit()), default=0.0)
        if pointed and whole > _GROUP_FROM:
            because = f"{whole:.0f} beside {pointed[0]} in “{heading.text}”: the point groups thousands"
            return replace(layout, decimal=",", decimal_because=because)
        if pointed and not example:
            column, example = heading.text, pointed[0]
    raise AmbiguousNumber(Place(file, column=column), example)


def read_rows(texts: Sequence[Sequence[str]], cells: Sequence[Sequence[object]], file: str, profile: Profile) -> Grid:
    """Read the rows of a sheet: layout from their texts, values from the cells themselves."""
    layout = layout_of_rows(texts, "", file, profile)
    width = len(layout.names)
    below = [list(row[:width]) + [None] * (width - len(row)) for row in cells[layout.first_data_line :]]
    is_filled = [any(c not in (None, "") for c in row) for row in below]
    body = [row for row, filled in zip(below, is_filled, strict=True) if filled]
    gaps = tuple(i for i, filled in enumerate(is_filled, start=layout.first_data_line + 1) if not filled)
    columns = tuple(_sheet_column([row[i] for row in body]) for i in range(width))
    grid = Grid(layout.names, columns, layout.units, layout.statistics, layout.preamble, layout.first_data_line + 1,
        None, ".", layout.has_heading, lines_without_row=gaps)  # fmt: skip
    return _without_repeated_headings(grid)


def _sheet_column(cells: Sequence[object]) -> pa.Array:
    """Return a column of cells as Arrow: instants, numbers, or texts where they are mixed."""
    clean = [None if c == "" else c for c in cells]
    kinds = {type(c) for c in clean if c is not None}
    if kinds and kinds <= {datetime}:
        return pa.array(clean, pa.timestamp("us"))
    if kinds and kinds <= {int, float}:
        return pa.array([None if c is None else float(str(c)) for c in clean], pa.float64())
    if kinds == {bool}:
        return pa.array(clean, pa.bool_())
    texts = pa.array([None if c is None else str(c) for c in clean], pa.string())
    return retyped(texts, ".")


def _parse(text: bytes, layout: Layout, skipped: list[pacsv.InvalidRow], file: str) -> pa.Table:
    """Parse with quotes obeyed; where one stray quote breaks that, take quotes as plain characters."""
    error: Exception | None = None
    for quote in ('"', False) if layout.quoted else (False, '"'):
        for block in (1 << 20, 1 << 24):
            skipped.clear()

            def skip(row: pacsv.InvalidRow) -> str:
                skipped.append(row)
                return "skip"

            try:
                return pacsv.read_csv(
                    pa.BufferReader(text),
                    read_options=pacsv.ReadOptions(
                        column_names=list(layout.names), skip_rows=layout.first_data_line, block_size=block
                    ),
                    parse_options=pacsv.ParseOptions(
                        delimiter=layout.delimiter, quote_char=quote, invalid_row_handler=skip
                    ),
                    convert_options=pacsv.ConvertOptions(
                        null_values=list(MISSING_WORDS), strings_can_be_null=True, decimal_point=layout.decimal
                    ),
                )
            except (pa.ArrowInvalid, pa.ArrowKeyError) as failed:
                error = failed
    raise refusal(
        file, str(error), "rows of equal fields", "Open the file in an editor and look at that row."
    ) from error


def _whole(column: pa.ChunkedArray) -> pa.Array:
    """Return one contiguous array; bytes that are no UTF-8 become text all the same."""
    array = column.combine_chunks()
    if isinstance(array, pa.ChunkedArray):
        array = array.chunk(0) if array.num_chunks else pa.array([], array.type)
    if pa.types.is_binary(array.type):
        return pa.array([None if v is None else v.decode("utf-8", "replace") for v in array.to_pylist()], pa.string())
    if pa.types.is_null(array.type):
        return array.cast(pa.float64())
    return array


def _spoken(delimiter: str) -> str:
    return {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe"}.get(delimiter, delimiter)


def _skipped_fault(text: bytes, layout: Layout, skipped: list[pacsv.InvalidRow]) -> tuple[Fault, ...]:
    """Word the rows with too many or too few fields, which are left out rather than shifted."""
    if not skipped:
        return ()
    first, fields = skipped[0], len(layout.names)
    row = _line_of(text, first.text)
    if len(skipped) == 1 and first.actual_columns < fields and text.rstrip().endswith(first.text.encode()):
        sentence = (
            f"The last line, row {row}, breaks off after {first.actual_columns} of {fields} fields; it is left out."
        )
        return (Fault("truncated_last_line", 1, row, None, sentence),)
    sentence = (
        f"{len(skipped)} row(s) do not have {fields} fields and are left out; "
        f"the first is row {row}: “{first.text[:80]}”."
    )
    return (Fault("wrong_field_count", len(skipped), row, None, sentence),)


def _line_of(text: bytes, line: str, start: int = 0) -> int | None:
    at = text.find(line.encode(), start)
    return text.count(b"\n", 0, at) + 1 if at >= 0 else None


def _lines_without_row(text: bytes, layout: Layout, skipped: list[pacsv.InvalidRow], rows: int) -> tuple[int, ...]:
    """Return the lines below the heading that gave no row, so that row numbers stay those of an editor."""
    lines_below = _line_ends(text) + (not text.endswith(b"\n")) - layout.first_data_line
    if lines_below == rows:
        return ()
    left_out = {row.text for row in skipped}
    lines = text.decode(errors="replace").split("\n", _MOST_LINES)[layout.first_data_line : _MOST_LINES]
    numbered = enumerate(lines, start=layout.first_data_line + 1)
    return tuple(n for n, line in numbered if line.rstrip("\r") in left_out or line.rstrip("\r") == "")


def _line_ends(text: bytes) -> int:
    """Count line ends by blocks that stay near the processor, three times as fast as `bytes.count`."""
    codes = np.frombuffer(text, np.uint8)
    ends = (np.count_nonzero(codes[at : at + _BLOCK] == ord("\n")) for at in range(0, len(codes), _BLOCK))
    return int(sum(ends))


def _without_comments(grid: Grid) -> Grid:
    """Take out rows that begin with a hash: remarks and type rows between the tables of one export."""
    first = grid.columns[0]
    if not pa.types.is_string(first.type) or not grid.has_heading:
        return grid
    remark = pc.fill_null(pc.starts_with(first, "#"), False)
    count = pc.sum(remark).as_py() or 0
    if not 0 < count <= _MOST_REMARKS * len(grid):
        return grid
    kept = pc.invert(remark)
    columns = tuple(
        retyped(c.filter(kept), grid.decimal) if pa.types.is_string(c.type) else c.filter(kept) for c in grid.columns
    )
    numbers = [grid.row_number(int(row)) for row in pc.indices_nonzero(remark).to_pylist()]
    return replace(grid, columns=columns, lines_without_row=tuple(sorted({*grid.lines_without_row, *numbers})))


def _without_repeated_headings(grid: Grid) -> Grid:
    """Take out headings repeated in mid-file; one in another order reorders the rows below it."""
    texts = {i: c for i, c in enumerate(grid.columns) if pa.types.is_string(c.type)}
    rows = _heading_rows(grid, texts) if grid.has_heading and len(texts) > 1 else []
    if not rows:
        return grid
    texts = {i: as_text(c) for i, c in texts.items()}
    pieces: dict[str, list[pa.Array]] = {name: [] for name in grid.names}
    order, reordered = grid.names, False
    for start, end in zip([-1, *rows], [*rows, len(grid)], strict=True):
        if start >= 0:
            cells = unique_names(
                [str(texts[i][start].as_py() or "") if i in texts else n for i, n in enumerate(grid.names)]
            )
            order = cells if set(cells) == set(grid.names) else order
            reordered |= order != grid.names
        for i, name in enumerate(order):
            pieces[name].append(texts.get(i, grid.columns[i]).slice(start + 1, end - start - 1))
    columns = tuple(_joined(pieces[name], grid.decimal) for name in grid.names)
    done = "one has another order of columns, which is followed" if reordered else "those rows are left out"
    numbers = tuple(grid.row_number(row) for row in rows)
    fault = Fault("repeated_heading", len(rows), numbers[0], None,
        f"The heading is repeated {len(rows)} time(s) in mid-file; {done}.")  # fmt: skip
    gaps = tuple(sorted({*grid.lines_without_row, *numbers}))
    return replace(grid, columns=columns, faults=(*grid.faults, fault), lines_without_row=gaps)


def _heading_rows(grid: Grid, texts: dict[int, pa.Array]) -> list[int]:
    """Return the rows in which every text is one of the headings."""
    names = pa.array([re.sub(r" \(\d+\)$", "", n) for n in grid.names] + list(grid.names))
    found = None
    for text in texts.values():
        here = pc.fill_null(pc.is_in(pc.ascii_trim_whitespace(text), names), False)
        found = here if found is None else pc.and_(found, here)
        if not pc.any(found).as_py():
            return []
    return [int(row) for row in pc.indices_nonzero(found).to_pylist()]


def _joined(pieces: list[pa.Array], decimal: str) -> pa.Array:
    if len({p.type for p in pieces}) > 1:
        pieces = [p.cast(pa.string()) for p in pieces]
    whole = pa.concat_arrays(pieces)
    return retyped(whole, decimal) if pa.types.is_string(whole.type) else whole


def retyped(text: pa.Array, decimal: str) -> pa.Array:
    """Let texts be numbers or instants again, as the parser would have found them without the heading between."""
    array = pc.if_else(pc.is_in(text, pa.array(MISSING_WORDS)), None, text)
    if decimal == "," and pc.all(pc.invert(pc.match_substring(array, "."))).as_py():
        array = pc.replace_substring(array, ",", ".")
    if array.null_count == len(array):
        return pa.nulls(len(array), pa.float64())
    for kind in (pa.float64(), pa.timestamp("ns"), pa.timestamp("ns", "UTC")):
        try:
            return array.cast(kind)
        except pa.ArrowInvalid:
            continue
    return text
