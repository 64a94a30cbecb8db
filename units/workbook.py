"""A table as a workbook: the least that a spreadsheet opens, numbers as numbers and all else as text, no formulas."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape

MEDIA_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>'
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
SHEET = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
WORD = "application/vnd.openxmlformats-officedocument.spreadsheetml"
PARTS = {
    "[Content_Types].xml": f'<Types xmlns="{PACKAGE}/content-types"><Default Extension="rels" ContentType='
    f'"application/vnd.openxmlformats-package.relationships+xml"/><Override PartName="/xl/workbook.xml" ContentType='
    f'"{WORD}.sheet.main+xml"/><Override PartName="/xl/sheet.xml" ContentType="{WORD}.worksheet+xml"/></Types>',
    "_rels/.rels": f'<Relationships xmlns="{PACKAGE}/relationships"><Relationship Id="r1" Type="{OFFICE}/'
    'officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml": f'<workbook xmlns="{SHEET}" xmlns:r="{OFFICE}"><sheets><sheet name="Units" sheetId="1" '
    'r:id="r1"/></sheets></workbook>',
    "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}/relationships"><Relationship Id="r1" Type='
    f'"{OFFICE}/worksheet" Target="sheet.xml"/></Relationships>',
}
NOT_IN_XML = dict.fromkeys([*range(9), 11, 12, *range(14, 32), 0xFFFE, 0xFFFF])


def workbook(rows: Iterable[Sequence[str | float]]) -> bytes:
    """Return rows as the one sheet of an xlsx file."""
    lines = "".join(f"<row>{''.join(map(_cell, row))}</row>" for row in rows)
    parts = PARTS | {"xl/sheet.xml": f'<worksheet xmlns="{SHEET}"><sheetData>{lines}</sheetData></worksheet>'}
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in parts.items():
            package.writestr(name, HEAD + text)
    return file.getvalue()


def _cell(value: str | float) -> str:
    if isinstance(value, str):
        text = escape(value.translate(NOT_IN_XML))
        return f'<c t="inlineStr"><is><t xml:space="preserve">{text}</t></is></c>'
    return f"<c><v>{value!r}</v></c>"
