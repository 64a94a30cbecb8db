"""What no log is, however it is packed: refused early, with the reason."""

from __future__ import annotations

import gzip
import io
import itertools
import os
import time
import zipfile
from pathlib import Path

import openpyxl
import pytest

from reduction.errors import UnreadableFile
from reduction.readers import read_log, read_logs

SOON_S = 3.0  # of this process's own work, whatever else the machine does
SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{}</sheetData></worksheet>'
)
FAR_APART = SHEET.format('<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>2</v></c></row>')
OPEN_TABLE = (
    '<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"><office:body><office:spreadsheet><table:table '
    'table:name="a"><table:table-row table:number-rows-repeated="1000000"><table:table-cell '
    'table:number-columns-repeated="16000" office:value-type="float" office:value="1"/></table:table-row></table:table>'
    "</office:spreadsheet></office:body></office:document-content>"
)


def zipped(members: dict[str, bytes | str]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return buffer.getvalue()


def workbook_with(sheet: str) -> bytes:
    buffer = io.BytesIO()
    openpyxl.Workbook().save(buffer)
    with zipfile.ZipFile(buffer) as archive:
        members: dict[str, bytes | str] = {name: archive.read(name) for name in archive.namelist()}
    return zipped(members | {"xl/worksheets/sheet1.xml": sheet})


def refused(tmp_path: Path, data: bytes, match: str, name: str = "file.csv") -> None:
    path = tmp_path / name
    path.write_bytes(data)
    began = time.process_time()
    with pytest.raises(UnreadableFile, match=match):
        read_logs(path)
    assert time.process_time() - began < SOON_S


def test_a_line_of_a_gigabyte_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "line.csv"
    path.write_bytes(b"7" * (1 << 19))
    os.truncate(path, (1 << 30) - 1)
    began = time.process_time()
    with pytest.raises(UnreadableFile, match="a first line of more than 256 KiB"):
        read_log(path)
    assert time.process_time() - began < SOON_S


def test_a_heading_of_ten_million_columns_is_refused(tmp_path: Path) -> None:
    refused(tmp_path, b"a," * 10_000_000 + b"\n1,2\n", "a first line of more than 256 KiB")


def test_a_heading_of_thousands_of_columns_is_refused(tmp_path: Path) -> None:
    refused(tmp_path, b",".join([b"t"] * 5000) + b"\n" + b",".join([b"1"] * 5000) + b"\n", "5,000 columns in one row")


def test_a_file_beyond_the_limit_is_refused_by_its_size(tmp_path: Path) -> None:
    path = tmp_path / "huge.csv"
    path.write_bytes(b"time,room_C\n")
    os.truncate(path, (1 << 30) + 1)
    with pytest.raises(UnreadableFile, match=r"found “1.1 GB”, expected at most 1.1 GB. Split the log by day."):
        read_log(path)


LAUGHS = "<!DOCTYPE x [<!ENTITY a '" + "ha" * 1000 + "'>" + "".join(
    f"<!ENTITY {after} '{f'&{before};' * 100}'>" for before, after in itertools.pairwise("abcde")
) + "]>"  # fmt: skip
LAUGHING = LAUGHS + SHEET.format('<row r="1"><c r="A1" t="str"><v>&e;</v></c></row>')
OUTSIDE = '<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]>' + SHEET.format(
    '<row r="1"><c r="A1" t="str"><v>&e;</v></c></row>'
)
OPEN_DOCUMENT = {"mimetype": "application/vnd.oasis.opendocument.spreadsheet", "content.xml": OPEN_TABLE}
BOMBS = {
    "gz": (gzip.compress(b"0" * (64 << 20)), "bytes that unpack to"),
    "zip": (zipped({"a.csv": b"0" * (64 << 20)}), "bytes that unpack to"),
    "many members": (zipped({f"{i}.csv": b"t,v\n" for i in range(500)}), "500 files in one archive"),
    "nested": (gzip.compress(gzip.compress(gzip.compress(b"t,v\n"))), "an archive inside an archive"),
    "cells far apart": (workbook_with(FAR_APART), "1,048,576 rows of 16,384 columns"),
    "sheet of blanks": (workbook_with(SHEET.format(" " * (64 << 20))), "bytes that unpack to"),
    "repeated cells": (zipped(OPEN_DOCUMENT), "1,000,000 rows of 16,000 columns"),
    "entities of entities": (workbook_with(LAUGHING), "found"),
    "entities of entities in a table": (
        zipped({"mimetype": OPEN_DOCUMENT["mimetype"], "content.xml": LAUGHS + "<x>&e;</x>"}),
        "a workbook that cannot be opened",
    ),
    "an entity of another file": (workbook_with(OUTSIDE), "found"),
    "binary sheet": (zipped({"[Content_Types].xml": "", "xl/worksheets/sheet1.bin": "x"}), "a binary workbook"),
    "brackets": (b"[" * 100_000, "found"),
    "broken zip": (b"PK\x03\x04" + b"\0" * 100, "breaks off or is damaged"),
    "broken Parquet": (b"PAR1" + b"\0" * 100, "a damaged Parquet file"),
}


@pytest.mark.parametrize(("data", "match"), BOMBS.values(), ids=BOMBS)
def test_what_would_unpack_to_no_log_is_refused_soon(tmp_path: Path, data: bytes, match: str) -> None:
    refused(tmp_path, data, match)


def test_a_member_that_is_no_log_is_left_out_and_said(tmp_path: Path) -> None:
    log = "time,room_C\n2026-07-14T18:05:00Z,24.6\n2026-07-14T18:05:10Z,24.7\n"
    path = tmp_path / "session.zip"
    path.write_bytes(zipped({"notes.txt": "door open at noon\n", "room.csv": log}))
    (read,) = read_logs(path)
    assert read.path == "session.zip/room.csv"
    assert [f.code for f in read.faults] == ["left_out"]
    assert "notes.txt" in read.faults[0].sentence


def test_one_log_is_not_read_from_an_archive_of_two(tmp_path: Path) -> None:
    log = "time,room_C\n2026-07-14T18:05:00Z,24.6\n2026-07-14T18:05:10Z,24.7\n"
    path = tmp_path / "session.zip"
    path.write_bytes(zipped({"a.csv": log, "b.csv": log}))
    with pytest.raises(UnreadableFile, match="found “an archive of 2 logs”"):
        read_log(path)
