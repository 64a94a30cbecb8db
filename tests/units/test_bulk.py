"""A list of units in and out: understood row by row, kept whole or not at all, read back as it was written."""

from __future__ import annotations

import io

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from tests import builders
from units.models import CatalogueEntry, Unit

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


def test_what_is_written_out_reads_back_as_it_was(tester, bench):
    kept(tester, LIST)
    text = tester.get(reverse("units-export")).text
    before = sorted(
        Unit.objects.values_list("maker", "model", "kind", "compressor", "voltage_v", "price", "refrigerant")
    )
    claims = sorted(Unit.objects.values_list("model", "claims__quantity", "claims__value", "claims__outdoor_temp_c"))
    Unit.objects.all().delete()
    assert kept(tester, text).status_code == 302
    assert (
        sorted(Unit.objects.values_list("maker", "model", "kind", "compressor", "voltage_v", "price", "refrigerant"))
        == before
    )
    assert (
        sorted(Unit.objects.values_list("model", "claims__quantity", "claims__value", "claims__outdoor_temp_c"))
        == claims
    )


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
