"""All that is published as one file: units, claims and points as tables, what each column means, who may use it how."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pyarrow as pa
import pyarrow.csv as pa_csv
import pyarrow.parquet as pq
from django.conf import settings
from django.db.models import Count, Max, QuerySet, Sum

from tests_app.whole_files import written_whole
from units.editions.read import parsed
from units.models import CatalogueEntry, Claim, Edition, PublishedPoint, Unit
from units.spreadsheet import harmless

NAME = "cooling-ledger-data.zip"
AT_ONCE = 20_000
TEXT, REAL, WHEN, YES_NO = pa.string(), pa.float64(), pa.timestamp("us", tz="UTC"), pa.bool_()
# file: column: (where it is read, type, quantity unit, meaning)
DICTIONARY: dict[str, dict[str, tuple[str, pa.DataType, str, str]]] = {
    "units": {
        "unit": ("pk", TEXT, "", "Key of the physical sample; claims and points name it"),
        "maker": ("maker", TEXT, "", "Who makes the model"),
        "model": ("model", TEXT, "", "Model"),
        "kind": ("kind", TEXT, "", "How it is built: " + ", ".join(Unit.Kind.values)),
        "compressor": ("compressor", TEXT, "", "How the compressor is driven"),
        "refrigerant": ("refrigerant", TEXT, "", "Refrigerant as stated"),
        "voltage_v": ("voltage_v", REAL, "V", "Rated voltage"),
        "obtained": ("obtained", TEXT, "", "How the sample came to the bench"),
        "is_synthetic": ("is_synthetic", YES_NO, "", "True: invented, no such thing exists"),
    },
    "claims": {
        "unit": ("unit_id", TEXT, "", "Key of the unit"),
        "quantity": ("quantity", TEXT, "", "What is claimed"),
        "value": ("value", REAL, "see quantity_unit", "The figure as the maker states it"),
        "quantity_unit": ("quantity_unit", TEXT, "", "Unit of measure of `value`"),
        "value_si": ("value_si", REAL, "W, W/W, Btu/(W·h), dB(A), m³/h, A or kg/h", "The same in one unit a quantity"),
        "condition_name": ("condition_name", TEXT, "", "Condition it is stated at"),
        "room_temp_c": ("room_temp_c", REAL, "°C", "Room temperature of that condition"),
        "outdoor_temp_c": ("outdoor_temp_c", REAL, "°C", "Outdoor temperature of that condition"),
        "basis": ("basis", TEXT, "", "Standard or test it is stated by"),
        "stated_in": ("stated_in", TEXT, "", "Where it is stated"),
    },
    "points": {
        "unit": ("unit_id", TEXT, "", "Key of the unit"),
        "review": ("edition__review__slug", TEXT, "", "Review it is published in"),
        "edition": ("edition__number", pa.int64(), "", "Number of the edition"),
        "label": ("label", TEXT, "", "Name of the averaged span"),
        "measured_at": ("measured_at", WHEN, "UTC", "Begin of the averaged span"),
        "room_temp_c": ("room_temp_c", REAL, "°C", "Room dry bulb"),
        "room_wet_bulb_c": ("room_wet_bulb_c", REAL, "°C", "Room wet bulb"),
        "room_rh_percent": ("room_rh_percent", REAL, "%", "Room relative humidity"),
        "outdoor_temp_c": ("outdoor_temp_c", REAL, "°C", "Outdoor dry bulb, at the condenser's inlet where measured"),
        "capacity_w": ("capacity_w", REAL, "W", "Net cooling capacity as tested"),
        "capacity_u95_w": ("capacity_u95_w", REAL, "W", "Its expanded uncertainty, 95 %"),
        "capacity_kind": ("capacity_kind", TEXT, "", "total, or sensible: the total is at least that"),
        "power_w": ("power_w", REAL, "W", "Electric power of the unit"),
        "power_u95_w": ("power_u95_w", REAL, "W", "Its expanded uncertainty, 95 %"),
        "eer_btu_per_wh": ("eer_btu_per_wh", REAL, "Btu/(W·h)", "Capacity over power at this one condition; no SEER"),
        "eer_u95": ("eer_u95", REAL, "Btu/(W·h)", "Its expanded uncertainty, 95 %"),
        "cop": ("cop", REAL, "W/W", "Capacity over power"),
        "cop_u95": ("cop_u95", REAL, "W/W", "Its expanded uncertainty, 95 %"),
        "limit": ("limit", TEXT, "", "What limited the unit"),
        "rated_capacity_w": ("rated_capacity_w", REAL, "W", "Capacity brought to the claim's condition: an estimate"),
        "rated_capacity_u95_w": ("rated_capacity_u95_w", REAL, "W", "Its expanded uncertainty, 95 %"),
        "rated_eer_btu_per_wh": ("rated_eer_btu_per_wh", REAL, "Btu/(W·h)", "EER brought there"),
        "rated_eer_u95": ("rated_eer_u95", REAL, "Btu/(W·h)", "Its expanded uncertainty, 95 %"),
    },
}
LICENCE_COLUMNS = ("review", "edition", "title", "published_by", "licence", "licence_url", "address", "sha256")
ABOUT = """Cooling Ledger: all published measurements of this site, as of {when} (UTC).

units, claims and points are tables, each as CSV, as Parquet and as JSON; dictionary.csv says what every column means
and in which unit of measure. A row is one physical sample, one claim, one averaged span of a published test. Each
point belongs to an edition: licences.csv names the edition's licence, which holds for its points, and its address.
Name publisher and review when you use them. Capacity is net, as the room feels it; +- is the 95 % interval. Rows of
units with is_synthetic true are invented.
"""


def state() -> str:
    """Return a digest that changes whenever what is published does."""
    public = CatalogueEntry.objects.filter(audience=CatalogueEntry.Audience.PUBLIC)
    shelf = public.aggregate(rows=Count("pk"), stamps=Sum("stamp"))
    return hashlib.sha256(repr((shelf, Edition.objects.count(), DICTIONARY)).encode()).hexdigest()[:32]


def packed(digest: str) -> Path:
    """Return the file of a state, made when it is first asked for; files of other states go."""
    folder = Path(settings.DATA_DIR) / "built" / "data-set"
    made = folder / f"{digest}.zip"
    if not made.exists():
        folder.mkdir(parents=True, exist_ok=True)
        with written_whole(made) as half:  # also where two processes build at once
            _write(half)
        for old in set(folder.glob("*.zip")) - {made}:
            old.unlink(missing_ok=True)
    return made


def _write(into: Any) -> None:
    when = Edition.objects.aggregate(last=Max("published_at"))["last"] or datetime.now(UTC)
    with zipfile.ZipFile(into, "w", zipfile.ZIP_DEFLATED) as parts, TemporaryDirectory() as folder:
        parts.writestr("README.txt", ABOUT.format(when=f"{when:%Y-%m-%d %H:%M}"))
        parts.writestr("dictionary.csv", _table(("file", "column", "quantity_unit", "meaning"), _meanings()))
        parts.writestr("licences.csv", _table(LICENCE_COLUMNS, _licences()))
        for name, rows in _tables().items():
            for path in _written(name, rows, Path(folder)):
                parts.write(path, path.name)


def _meanings() -> Iterator[tuple[str, ...]]:
    for file, columns in DICTIONARY.items():
        yield from ((file, name, unit, meaning) for name, (_, _, unit, meaning) in columns.items())


def _licences() -> Iterator[tuple[Any, ...]]:
    current = Edition.objects.filter(points__is_current=True).order_by("review__slug", "number").distinct()
    for edition in current.select_related("review").defer("html"):
        data, slug = parsed(edition), edition.review.slug
        address = f"/published/{slug}/{edition.number}/"
        licence = data.get("licence", {"name": "", "url": ""})
        yield (slug, edition.number, data.get("title", ""), data.get("published_by", ""), licence["name"],
               licence["url"], address, edition.sha256)  # fmt: skip


def _table(headings: tuple[str, ...], rows: Iterator[tuple[Any, ...]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows([harmless(cell) for cell in row] for row in rows)
    return text.getvalue()


def _tables() -> dict[str, QuerySet[Any]]:
    units = Unit.objects.filter(published_points__is_current=True).distinct().order_by("pk")
    return {
        "units": units,
        "claims": Claim.objects.filter(unit__in=units).order_by("unit", "pk"),
        "points": PublishedPoint.objects.filter(is_current=True).order_by("pk"),
    }


def _written(name: str, rows: QuerySet[Any], folder: Path) -> list[Path]:
    """Write a table in its three forms, some rows at a time."""
    columns = DICTIONARY[name]
    schema = pa.schema([(column, kind) for column, (_, kind, _, _) in columns.items()])
    paths = [folder / f"{name}.{form}" for form in ("csv", "parquet", "json")]
    with (
        pa_csv.CSVWriter(paths[0], schema) as as_csv,
        pq.ParquetWriter(paths[1], schema) as as_parquet,
        paths[2].open("w", encoding="utf-8") as as_json,
    ):
        between = "[\n"
        for batch in _batches(rows.values_list(*(path for path, *_ in columns.values())), schema):
            as_csv.write(_harmless(batch))
            as_parquet.write(batch)
            for row in batch.to_pylist():
                as_json.write(between + json.dumps(row, ensure_ascii=False, default=datetime.isoformat))
                between = ",\n"
        as_json.write("\n]\n" if between == ",\n" else "[]\n")
    return paths


def _batches(rows: QuerySet[Any], schema: pa.Schema) -> Iterator[pa.RecordBatch]:
    taken: list[tuple[Any, ...]] = []
    for row in rows.iterator(chunk_size=AT_ONCE):
        taken.append(row)
        if len(taken) == AT_ONCE:
            yield _batch(taken, schema)
            taken = []
    if taken:
        yield _batch(taken, schema)


def _batch(rows: list[tuple[Any, ...]], schema: pa.Schema) -> pa.RecordBatch:
    columns = [
        pa.array(
            [None if cell is None else str(cell) for cell in column] if field.type == TEXT else column, type=field.type
        )
        for column, field in zip(zip(*rows, strict=True), schema, strict=True)
    ]
    return pa.record_batch(columns, schema=schema)


def _harmless(batch: pa.RecordBatch) -> pa.RecordBatch:
    """Return the rows so that no cell is run by a spreadsheet."""
    columns = [
        pa.array([harmless(cell) for cell in column.to_pylist()], type=TEXT) if column.type == TEXT else column
        for column in batch.columns
    ]
    return pa.record_batch(columns, schema=batch.schema)
