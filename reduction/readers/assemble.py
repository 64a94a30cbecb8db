"""From a grid to a log: wide table or event log, each column with unit, kind and its own times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from reduction.errors import Place, UnreadableFile
from reduction.readers.grid import Grid, as_text, is_numeric, to_floats
from reduction.readers.headings import Heading, parse_heading, parse_headings, words_of
from reduction.readers.kinds import guess_kind
from reduction.readers.numbers import Values, read_values
from reduction.readers.quantities import settle_units
from reduction.readers.sentinels import without_sentinels
from reduction.readers.source import Source
from reduction.readers.table import Column, Fault, FloatArray, Guess, Log, Question
from reduction.readers.tidy import in_order
from reduction.readers.times import TIME_WORDS, Times, find_times
from reduction.readers.vocabulary import find_unit
from reduction.session import Profile, Role

_NAME_WORDS = frozenset(
    "entity id name sensor channel tag device topic point signal variable key metric probe source measurement parameter "
    "kanal fühler messstelle gerät bezeichnung größe capteur canal nom nombre canal série serie item attribute label series".split()
)
_VALUE_WORDS = frozenset("value state reading val v wert messwert valeur valor mesure lectura result data".split())
_UNIT_WORDS = frozenset("unit units uom einheit unité unidad unit_of_measurement measurement".split())
_ROW_COUNTERS = frozenset("# no nr num record rec rn row index idx id seq sample line lfd n zeile".split())
_VAGUE_NAMES = re_vague = frozenset(
    "v val value wert valeur valor reading data y temp temperature power column".split()
)


@dataclass(frozen=True)
class Raw:
    """A column on its way: values in their own unit, sorted, with what its heading and cells said."""

    name: str
    heading: Heading
    time_s: FloatArray
    values: FloatArray
    is_state: bool = False
    reported: bool = False  # rows exist because something changed, not because a clock struck


def assemble(grid: Grid, source: Source, profile: Profile, time_zone: str) -> Log:
    """Give a grid its meaning.

    Raises
    ------
    UnreadableTime
        If it has no clock or one that cannot be read in one way only.
    UnreadableFile
        If it has no column of numbers.
    """
    if len(grid) == 0:
        raise UnreadableFile(place=Place(source.name), found="headings and no data below them",
            expected="rows of readings", remedy="Export the log again; the logger may not have started.")  # fmt: skip
    times = find_times(grid, source.name, profile, time_zone)
    roles = _event_columns(grid, times, profile)
    raws, faults, guesses = _events(grid, times, roles) if roles else _wide(grid, times, source, profile)
    if not raws:
        raise UnreadableFile(place=Place(source.name), found="no column of numbers", expected="at least one reading per row",
            remedy="Check the delimiter and the decimal mark.")  # fmt: skip
    columns, unit_questions, level_faults = _columns(raws, source)
    shape = "event log" if roles else "wide table" if len(columns) > 1 else "one sensor"
    kinds = [c.kind_guess for c in columns]
    stamp, stamp_guess, stamp_question = _stamp(grid, profile, columns)
    resolved = profile.model_copy(update={
        "delimiter": profile.delimiter or grid.delimiter, "decimal": profile.decimal or (grid.decimal if grid.delimiter else None),
        "time_zone": profile.time_zone or times.zone, "date_order": profile.date_order or times.order,
        "time_column": " + ".join(grid.names[i] for i in times.columns) if len(times.columns) == 1 else profile.time_column,
        "stamp": stamp, "sheet": grid.sheet or profile.sheet,
    })  # fmt: skip
    del kinds
    return Log(
        path=source.name,
        sha256=source.sha256,
        size_bytes=source.size_bytes,
        shape=shape,
        columns=columns,
        profile=resolved,
        guesses=(*grid.guesses, *times.guesses, *guesses, *stamp_guess),
        questions=(*grid.questions, *unit_questions, *stamp_question),
        faults=(*grid.faults, *times.faults, *faults, *level_faults),
        preview=_preview(columns),
    )


@dataclass(frozen=True)
class _EventColumns:
    name: int
    values: tuple[int, ...]
    unit: int | None


def _event_columns(grid: Grid, times: Times, profile: Profile) -> _EventColumns | None:
    """Tell an event log by a column of names that repeat beside a value, and perhaps a unit."""
    others = [i for i in range(len(grid.names)) if i not in times.columns]
    texts = [i for i in others if pa.types.is_string(grid.columns[i].type)]
    unit = next((i for i in texts if _is_unit_column(grid, i)), None)
    if profile.name_column is not None and profile.name_column in grid.names:
        name = grid.names.index(profile.name_column)
    else:
        named = [i for i in texts if i != unit and _is_name_column(grid, i)]
        named.sort(key=lambda i: (not (_NAME_WORDS & set(words_of(grid.names[i]))), i))
        if not named:
            return None
        name = named[0]
    if profile.value_column is not None and profile.value_column in grid.names:
        return _EventColumns(name, (grid.names.index(profile.value_column),), unit)
    values = [i for i in others if i not in {name, unit} and _may_be_value(grid, i)]
    stated = [i for i in values if _VALUE_WORDS & set(words_of(grid.names[i]))]
    chosen = tuple(stated[:1] or values)
    return _EventColumns(name, chosen, unit) if chosen else None


def _is_unit_column(grid: Grid, index: int) -> bool:
    unique = pc.unique(grid.columns[index].slice(0, 20_000)).drop_null().to_pylist()
    if not 0 < len(unique) <= 40:
        return False
    return all(find_unit(u) is not None for u in unique) or bool(_UNIT_WORDS & {grid.names[index].casefold()})


def _is_name_column(grid: Grid, index: int) -> bool:
    column = grid.columns[index].slice(0, 20_000).drop_null()
    unique = pc.unique(as_text(column)).drop_null()
    if not len(unique) or len(column) < 0.5 * min(len(grid), 20_000):
        return False
    words = unique.slice(0, 200).to_pylist()
    if read_values(unique, ".", "", 1, None) is not None or not any(c.isalpha() for c in words[0]):
        return False
    stated = bool(_NAME_WORDS & set(words_of(grid.names[index])))
    repeats = len(unique) <= max(1, len(column) // 3) or (stated and len(unique) < len(column))
    return repeats and (stated or not grid.has_heading or len(unique) > 1)


def _may_be_value(grid: Grid, index: int) -> bool:
    column = grid.columns[index]
    if is_numeric(column):
        return not _counts_rows(grid, index)
    return pa.types.is_boolean(column.type) or (
        pa.types.is_string(column.type) and read_values(column.slice(0, 2000), grid.decimal, "", 1, None) is not None
    )


def _counts_rows(grid: Grid, index: int) -> bool:
    """Tell a running row number by its heading and its steps of one."""
    column = grid.columns[index]
    if not pa.types.is_integer(column.type) or len(column) < 1:
        return False
    words = set(words_of(grid.names[index])) or {grid.names[index].strip()}
    if not words <= _ROW_COUNTERS and not (words & _ROW_COUNTERS and len(words) == 2):
        return False
    return bool(np.median(np.diff(to_floats(column)[:1000])) == 1) if len(column) > 1 else True


def _wide(
    grid: Grid, times: Times, source: Source, profile: Profile
) -> tuple[list[Raw], tuple[Fault, ...], tuple[Guess, ...]]:
    """Read every column that holds numbers; they share one array of times."""
    headings = parse_headings(grid.names, grid.units, grid.statistics)
    taken: list[tuple[int, Values]] = []
    guesses: list[Guess] = []
    for index in (i for i in range(len(grid.names)) if i not in times.columns):
        name = grid.names[index]
        if _counts_rows(grid, index):
            guesses.append(Guess("left_out", name, f"“{name}” counts the rows", 0.95))
            continue
        values = read_values(grid.columns[index], grid.decimal, name, grid.first_row, headings[index].unit)
        if values is None or not np.isfinite(values.values).any():
            why = "holds words or further stamps" if values is None else "has no reading at all"
            guesses.append(Guess("left_out", name, f"“{name}” {why}", 0.9))
            continue
        taken.append((index, values))
    time_s, sorted_values, faults = in_order(
        times.time_s, [v.values for _, v in taken], grid.first_row, times.resolution_s
    )
    raws = []
    alone = len(taken) == 1
    for (index, read), values in zip(taken, sorted_values, strict=True):
        heading = headings[index]
        name = grid.names[index]
        if alone and (not grid.has_heading or not set(heading.words) - _vague()):
            name, heading = _named_by_file(source.name, heading)
            guesses.append(Guess("name", name, "the heading says nothing, the file's name does", 0.7))
        if read.unit and heading.unit is None:
            heading = replace(heading, unit=read.unit, quantity=read.unit.quantity, because="unit in the cells")
        sparse = np.isnan(values).mean() > 0.5
        known = np.isfinite(values) if sparse else slice(None)
        raws.append(Raw(name, heading, time_s[known] if sparse else time_s, values[known], read.is_state, bool(sparse)))
    return raws, (*faults, *(f for _, v in taken for f in v.faults)), tuple(guesses)


def _vague() -> frozenset[str]:
    return _VAGUE_NAMES


def _named_by_file(file: str, heading: Heading) -> tuple[str, Heading]:
    stem = PurePath(file).stem
    by_file = parse_heading(stem)
    unit = heading.unit or by_file.unit
    quantity = heading.quantity or by_file.quantity
    words = (*by_file.words, *heading.words)
    return stem, replace(heading, text=stem, words=words, unit=unit, quantity=quantity, because=heading.because if heading.unit else by_file.because)  # fmt: skip


def _events(grid: Grid, times: Times, roles: _EventColumns) -> tuple[list[Raw], tuple[Fault, ...], tuple[Guess, ...]]:
    """Split a long log by name; each name has its own times."""
    encoded = _encoded(grid.columns[roles.name])
    codes = np.asarray(encoded.indices.fill_null(-1))
    names = [str(n).strip() for n in encoded.dictionary.to_pylist()]
    order = np.argsort(codes.astype(np.int16 if len(names) < 32_000 else np.int32), kind="stable")
    bounds = np.searchsorted(codes[order], np.arange(len(names) + 1))
    units = _encoded(grid.columns[roles.unit]) if roles.unit is not None else None
    taken = pa.array(order)
    raws: list[Raw] = []
    faults: list[Fault] = []
    sorted_times = times.time_s[order]
    for value in roles.values:
        column = grid.columns[value]
        numeric = to_floats(column)[order] if is_numeric(column) else None
        texts = None if numeric is not None else column.take(taken)
        for code, name in enumerate(names):
            rows = slice(int(bounds[code]), int(bounds[code + 1]))
            full = name if len(roles.values) == 1 else f"{name} {grid.names[value]}"
            unit_text = _unit_of(units, order[rows.start] if rows.stop > rows.start else 0)
            heading = parse_heading(full, unit_text)
            if heading.unit is None and len(roles.values) == 1:
                beside = parse_heading(grid.names[value])
                heading = replace(heading, unit=beside.unit, quantity=heading.quantity or beside.quantity,
                    because=beside.because if beside.unit else heading.because)  # fmt: skip
            piece = numeric[rows] if numeric is not None else None
            read = Values(piece) if piece is not None else read_values(
                texts.slice(rows.start, rows.stop - rows.start), grid.decimal, full, grid.first_row, heading.unit)  # type: ignore[union-attr]  # fmt: skip
            if read is None or not np.isfinite(read.values).any():
                continue
            time_s, (values,), found = in_order(sorted_times[rows], [read.values], grid.first_row)
            faults += [replace(f, column=full, sentence=f"“{full}”: {f.sentence}") for f in found] + list(read.faults)
            if read.unit and heading.unit is None:
                heading = replace(heading, unit=read.unit, quantity=read.unit.quantity, because="unit in the cells")
            raws.append(Raw(full, heading, time_s, values, read.is_state, True))
    guess = Guess("name_column", grid.names[roles.name], f"{len(names)} names repeat over {len(grid):,} rows", 0.97)
    beside = Guess("value_column", ", ".join(grid.names[i] for i in roles.values), "numbers beside the names", 0.97)
    return raws, tuple(faults), (guess, beside)


def _encoded(column: pa.Array) -> pa.DictionaryArray:
    return column if pa.types.is_dictionary(column.type) else column.cast(pa.string()).dictionary_encode()


def _unit_of(units: pa.DictionaryArray | None, row: int) -> str:
    text = units[int(row)].as_py() if units is not None else None
    return str(text or "")


def _columns(raws: Sequence[Raw], source: Source) -> tuple[tuple[Column, ...], tuple[Question, ...], tuple[Fault, ...]]:
    """Settle units over all columns together, then kinds; sentinels become missing."""
    clean: list[Raw] = []
    faults: list[Fault] = []
    for raw in raws:
        values, found = without_sentinels(raw.name, raw.heading, raw.values)
        clean.append(replace(raw, values=values) if found else raw)
        faults += found
    settled = settle_units([(r.name, r.heading, r.values, r.is_state) for r in clean])
    columns = []
    questions: list[Question] = []
    for raw, unit in zip(clean, settled, strict=True):
        kind, guess = guess_kind(raw.name, raw.heading, unit.quantity, raw.time_s, raw.values, raw.reported)
        columns.append(Column(raw.name, raw.time_s, raw.values, unit.quantity, unit.symbol, unit.guess, kind, guess,
            Role.IGNORED, Guess("role", Role.IGNORED.value, "no proposal yet", 0.0), raw.heading.is_difference))  # fmt: skip
        questions += unit.questions
    return tuple(columns), tuple(questions), tuple(faults)


def _stamp(
    grid: Grid, profile: Profile, columns: Sequence[Column]
) -> tuple[str | None, tuple[Guess, ...], tuple[Question, ...]]:
    """Say whether stamps of interval means stand at the start or the end; ask where nothing says it."""
    if profile.stamp:
        return profile.stamp, (Guess("stamp", profile.stamp, "as stated for this file", 1.0),), ()
    if not any(c.kind.value in {"interval_mean", "total"} for c in columns):
        return None, (), ()
    words = {w for name in grid.names for w in words_of(name) if TIME_WORDS & set(words_of(name))}
    for word, stamp in (("start", "interval_start"), ("begin", "interval_start"), ("end", "interval_end")):
        if word in words:
            return stamp, (Guess("stamp", stamp, f"the time column is called “{word}”", 0.97),), ()
    question = Question("stamp", ("interval_end", "interval_start"),
        "means over intervals, and nothing says whether the stamp is the start or the end of each")  # fmt: skip
    return (
        "interval_end",
        (Guess("stamp", "interval_end", "most loggers stamp the end of an interval", 0.6),),
        (question,),
    )


def _preview(columns: Sequence[Column]) -> tuple[tuple[str, ...], ...]:
    """Ten rows as understood: heading, then instants in UTC and values in their units."""
    shown = columns[:12]
    rows: list[tuple[str, ...]] = [("time (UTC)", *(f"{c.name} [{c.quantity_unit}]" for c in shown))]
    if all(c.time_s is shown[0].time_s for c in shown):
        for i in range(min(10, len(shown[0].time_s))):
            rows.append((_utc(shown[0].time_s[i]), *(_cell(c.values[i]) for c in shown)))
        return tuple(rows)
    events = sorted((float(c.time_s[i]), k, i) for k, c in enumerate(shown) for i in range(min(10, len(c.time_s))))
    for time_s, k, i in events[:10]:
        rows.append((_utc(time_s), *(_cell(shown[k].values[i]) if j == k else "" for j in range(len(shown)))))
    return tuple(rows)


def _utc(time_s: float) -> str:
    return str(np.datetime64(round(time_s * 1000), "ms")).replace(".000", "") + "Z"


def _cell(value: float) -> str:
    return "missing" if np.isnan(value) else f"{value:.10g}"
