"""A list of units in and out: understood row by row, kept whole or not at all, read back as it was written."""

from __future__ import annotations

import html
import io
import itertools
import re
import time
import zipfile
from datetime import date

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from tests import builders
from units.models import CatalogueEntry, Claim, Tag, Unit

pytestmark = pytest.mark.django_db

HEADINGS = "maker,model,kind,compressor,voltage [V],price,currency,tags,capacity [Btu/h],EER [Btu/(W·h)],sound [dB(A)]"
LIST = f"""{HEADINGS},condition
Quellmar,W8,Window,Fixed speed,230,349,eur,"quiet, series:Nord","8,000",10.2,52,US room unit test 1 (95 °F outdoors)
Tavessa,M9,mini_split,variable speed,230,,,,9000,,,ISO 5151 T1
"""


def sent(client, text: str | bytes, name: str = "list.csv"):
    data = text if isinstance(text, bytes) else text.encode()
    return client.post(reverse("units-import"), {"file": SimpleUploadedFile(name, data)})


def kept(client, text: str):
    return client.post(reverse("units-import"), {"text": text, "keep": "1"})


def test_a_list_is_shown_as_understood_and_nothing_is_kept_before_it_is_asked_for(tester):
    page = sent(tester, LIST).text
    assert "All 2 rows are understood" in page
    assert "capacity 8000 Btu/h; eer 10.2 Btu/(W·h); sound 52 dB(A)" in page
    assert not Unit.objects.exists()


def test_a_list_is_kept_with_claims_tags_and_conditions_and_stands_on_the_shelf(tester, bench):
    assert kept(tester, LIST).url == reverse("units")
    unit = Unit.objects.get(model="W8")
    assert (unit.bench, unit.kind, unit.price_currency) == (bench, "window", "EUR")
    assert {str(tag) for tag in unit.tags.all()} == {"quiet", "series:Nord"}
    capacity = unit.claims.get(quantity="capacity")
    assert capacity.value_si == pytest.approx(2344.57, abs=0.01)  # 8000 Btu/h / 3.412142
    assert capacity.outdoor_temp_c == 35.0
    assert CatalogueEntry.objects.count() == 2


def test_a_workbook_is_read_as_the_same_list(tester):
    book = openpyxl.Workbook()
    for line in (["maker", "model", "kind", "capacity [W]"], ["Quellmar", "W8", "Window", 2340]):
        book.active.append(line)
    file = io.BytesIO()
    book.save(file)
    page = sent(tester, file.getvalue(), "list.xlsx").text
    assert "capacity 2340 W" in page
    assert "Quellmar,W8,Window,2340" in page


def test_every_fault_of_a_row_is_named_and_no_row_is_kept(tester):
    text = (
        "maker,model,kind,voltage [V],capacity [kW]\nQuellmar,W8,fridge,12,8000\nTavessa,M9,Window,230,2.4\n,,Window,,"
    )
    answer = kept(tester, text)
    assert answer.status_code == 422
    page = answer.text
    assert "2 of 3 rows cannot be kept yet" in page
    assert "voltage (v): 12 V is no mains voltage; 50 to 600 V is." in page
    assert "fridge is not one of the available choices" in page
    assert "capacity: value: 8000 kW is 8e+06 W" in page
    assert "maker: This field is required." in page
    assert not Unit.objects.exists()


def bomb(sheet: str) -> bytes:
    """Return a workbook whose sheet is this XML, small as a file."""
    plain, packed = io.BytesIO(), io.BytesIO()
    openpyxl.Workbook().save(plain)
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, sheet if name == "xl/worksheets/sheet1.xml" else old.read(name))
    return packed.getvalue()


CELLS = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{}</sheetData></worksheet>'
)
FAR_APART = '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>2</v></c></row>'
LAUGHS = '<!DOCTYPE x [<!ENTITY a "ha">' + "".join(
    f'<!ENTITY {after} "{f"&{before};" * 10}">' for before, after in itertools.pairwise("abcdefghi")
) + "]>"  # fmt: skip


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (bomb(CELLS.format(FAR_APART)), "1,048,576 rows of 16,384 columns"),
        (bomb(CELLS.format(" " * (64 << 20))), "bytes that unpack to"),
        (
            bomb(LAUGHS + CELLS.format('<row r="1"><c r="A1" t="str"><v>&i;</v></c></row>')),
            "a workbook that cannot be opened",
        ),
    ],
    ids=["cells far apart", "blanks", "entities of entities"],
)
def test_a_workbook_that_would_fill_the_memory_is_refused_soon(tester, data, sentence):
    began = time.process_time()
    answer = sent(tester, data)
    assert answer.status_code == 422
    assert sentence in answer.text
    assert time.process_time() - began < 5.0  # of this process's own work


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"", "no row under a heading"),
        (b"maker,model\n", "no row under a heading"),
        (b"\x00\x01\x02\xff", "no UTF-8 text"),
        (b"a\x00b\n", "a binary file"),
        (b"PK\x03\x04broken", "a workbook that cannot be opened"),
        (b"maker,model,colour\nA,B,red\n", "Rename the column, or take it out."),
        (b"maker,model,capacity\nA,B,8000\n", "found “capacity”"),
        (b"maker\n" + b"A\n" * 2001, "at most 2000"),
        (b"x" * 2_100_000, "at most 2 MB"),
    ],
)
def test_a_file_that_is_no_list_is_refused_in_a_sentence(tester, data, sentence):
    answer = sent(tester, data)
    assert answer.status_code == 422
    assert sentence in answer.text


FIELDS = [field.attname for field in Unit._meta.concrete_fields if not field.attname.endswith(("id", "_at"))]
STATED = [field.attname for field in Claim._meta.concrete_fields if not field.attname.endswith("id")]
US = {"room_temp_c": 26.6667, "room_wet_bulb_c": 19.4444, "outdoor_temp_c": 35.0, "outdoor_wet_bulb_c": 23.8889}
OWN = {"room_temp_c": 25.3, "outdoor_temp_c": -4.75}


def everything() -> list[tuple]:
    """Return all that is kept of the units, their claims and their tags."""
    return [
        (
            [getattr(unit, name) for name in FIELDS],
            sorted(str([getattr(claim, name) for name in STATED]) for claim in unit.claims.all()),
            sorted(str(tag) for tag in unit.tags.all()),
        )
        for unit in Unit.objects.order_by("maker", "model")
    ]


def full(bench) -> None:
    """Keep units that use all there is: claims of one quantity at four conditions, hostile text, every digit."""
    unit = builders.a_unit(
        bench=bench, model="W8", serial="007", notes="=1+1\nsecond line", obtained="lent",
        obtained_detail="'=asked for",
        price="349.90", price_currency="EUR", voltage_v=230.5, is_reference=True, is_synthetic=True,
        claimed_air_flow_m3_per_h=321.125, afterwards="returned", refrigerant="R-32",
    )  # fmt: skip
    unit.claims.all().delete()
    unit.tags.add(Tag.objects.create(bench=bench, value="quiet"), Tag.objects.create(bench=bench, key="a", value="b"))
    us = {"condition_name": "US room unit test 1 (95 °F outdoors)", **US}
    claims = (
        ("capacity", 8123.456789, "Btu/h", us | {"stated_in": "box", "stated_on": date(2026, 3, 1)}),
        ("capacity", 2.4, "kW", us | {"stated_in": "data sheet", "basis": "own laboratory"}),
        ("capacity", 2100.0, "W", {"condition_name": "a mild day", **OWN}),
        ("capacity", 2100.0, "W", OWN),
        ("capacity", 2200.0, "W", {}),
        ("eer", 10.2, "Btu/(W·h)", us | {"stated_in": "box", "stated_on": date(2026, 3, 1)}),
        ("eer", 9.1, "Btu/(W·h)", us | US | {"outdoor_temp_c": 36.0}),
        ("sound", 52.0, "dB(A)", {}),
    )
    factor = {"Btu/h": 1 / 3.412141633127942, "kW": 1000.0}
    for quantity, value, quantity_unit, stated in claims:
        si = value * factor.get(quantity_unit, 1.0)
        Claim.objects.create(
            unit=unit, quantity=quantity, value=value, quantity_unit=quantity_unit, value_si=si, **stated
        )
    builders.a_unit(bench=bench, model="plain").claims.all().delete()


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_a_list_written_out_and_read_in_again_has_lost_nothing(tester, bench, form):
    full(bench)
    before = everything()
    name = {"csv": "units-export", "xlsx": "units-export-workbook"}[form]
    file = tester.get(reverse(name)).content
    Unit.objects.all().delete()
    read = sent(tester, file, f"list.{form}")
    assert "All 2 rows are understood" in read.text
    text = html.unescape(re.search(r"<textarea[^>]*>\n?(.*?)</textarea>", read.text, re.DOTALL)[1])
    assert kept(tester, text).status_code == 302
    assert everything() == before


def test_a_workbook_of_ours_is_opened_by_another_program_with_numbers_as_numbers(tester, bench):
    full(bench)
    file = io.BytesIO(tester.get(reverse("units-export-workbook")).content)
    rows = list(openpyxl.load_workbook(file).active.iter_rows(values_only=True))
    first = next(dict(zip(rows[0], row, strict=True)) for row in rows if row[1] == "W8")
    assert (first["serial"], first["voltage [v]"]) == ("007", 230.5)
    assert first["notes"] == "'=1+1\nsecond line"  # text, and no formula to anyone


def test_claims_at_another_condition_stand_in_a_row_of_their_own_under_the_unit(tester):
    text = (
        "maker,model,kind,capacity [W],condition\nQuellmar,W8,Window,2340,ISO 5151 T1\n,,,2200,ISO 5151 T3\n"
        "Tavessa,M9,mini_split,2600,ISO 5151 T1\n"
    )
    assert kept(tester, text).status_code == 302
    claims = Claim.objects.filter(unit__model="W8").values_list("value", "condition_name")
    assert sorted(claims) == [(2200.0, "ISO 5151 T3"), (2340.0, "ISO 5151 T1")]
    assert Claim.objects.filter(unit__model="M9").count() == 1


def test_a_fault_in_a_row_of_claims_is_told_with_the_unit_it_belongs_to(tester):
    answer = kept(tester, "maker,model,kind,capacity [kW],outdoors\nQuellmar,W8,Window,2.4,\n,,,2.2,hot\n")
    assert answer.status_code == 422
    assert "capacity: outdoors: “hot” is no temperature." in answer.text


def test_the_export_holds_the_units_of_ones_own_bench_only(reader, bench):
    builders.a_unit(bench=bench, model="mine")
    builders.a_unit(bench=builders.a_bench(), model="theirs")
    text = reader.get(reverse("units-export")).text
    assert "mine" in text
    assert "theirs" not in text


def test_a_cell_that_a_spreadsheet_would_run_is_made_harmless(reader, bench):
    builders.a_unit(bench=bench, maker='=HYPERLINK("http://x")')
    assert '"\'=HYPERLINK(""http://x"")"' in reader.get(reverse("units-export")).text


def test_a_reader_imports_nothing(reader):
    assert kept(reader, LIST).status_code == 403
