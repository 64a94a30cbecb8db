"""Every chart of every page: drawn by one mechanism, with words, a table, and its files to take along."""

from __future__ import annotations

import io
import re
from datetime import timedelta
from html import unescape
from math import sin
from pathlib import Path

import pandas as pd
import pytest
from django.core.files.base import ContentFile
from django.urls import reverse

from reduction import session as doc
from tests import builders
from tests_app.actions import mapping, upload
from tests_app.models import Channel
from units import shelf
from units.charts import PICTURES
from units.models import Claim, RoomValue

ROOT = Path(__file__).parent.parent
BEGINS = {"svg": b"<svg", "png": b"\x89PNG"}
STEPS = (
    doc.Step(name="Claim", value_w=2344.6, u_w=0.0, kind="claim", because="Stated by the maker."),
    doc.Step(name="Remainder", value_w=-44.6, u_w=40.0, kind="remainder", because="=1+1, as a spreadsheet has it"),
)
COURSE = tuple((n / 4, 600.0, 600.0 + 5 * sin(n)) for n in range(40))
FIT = doc.RoomFit(
    model="one store", surfaces=(doc.Surface(to="outdoor", ua_w_per_k=16.0, u95_w_per_k=1.5),), c_eff_j_per_k=4.2e5,
    c_eff_u95_j_per_k=5e4, slow_mass=None, time_constants_h=(7.3,), residual_rms_c=0.05, residual_whiteness="white",
    identifiable=True, because="The difference of temperatures was 9 K.", course_w=COURSE,
)  # fmt: skip


def source(folders: tuple[str, ...], ending: str) -> dict[str, str]:
    """Return the text of every file of the product with this ending, by its path."""
    paths = [path for folder in folders for path in sorted((ROOT / folder).rglob(f"*.{ending}"))]
    return {str(path.relative_to(ROOT)): path.read_text(encoding="utf-8") for path in paths}


PRODUCT = source(("reduction", "units", "tests_app"), "py")
NAMES = {name for text in PRODUCT.values() for name in re.findall(r' Picture\(\s*name="([^"]+)"', text)}


def test_nothing_is_drawn_but_by_what_every_chart_is_drawn_by():
    drawing = {path for path, text in PRODUCT.items() if re.search(r"drawing\.inline\(|vegalite_to_(svg|png)", text)}
    assert drawing == {"units/drawing.py", "units/picture.py"}
    figures = {path for path, text in source(("units", "tests_app"), "html").items() if '<figure class="chart' in text}
    assert {Path(path).name for path in figures} == {"chart.html", "chart_later.html", "_chart.html"}


@pytest.fixture
def pages(bench, tester) -> dict[str, str]:
    """Return the address of each kind of page of a bench that has charts."""
    unit, room = builders.a_unit(bench=bench), builders.a_room(bench=bench)
    for quantity, value, of in (("eer", 10.5, "Btu/(W·h)"), ("sound", 52.0, "dB(A)")):
        Claim.objects.create(unit=unit, quantity=quantity, value=value, quantity_unit=of, value_si=value)
    for surface, day in ((16.0, 0), (17.0, 30)):
        RoomValue.objects.create(
            room=room,
            valid_from=(builders.NOON + timedelta(days=day)).date(),
            surfaces=[{"to": "outdoor", "ua_w_per_k": surface, "u95_w_per_k": 1.5}],
        )
    sessions = [a_run(unit, day) for day in range(5)]
    characterisation = builders.a_session(bench=bench, room=room, purpose="characterisation")
    first = builders.a_reduction(session=characterisation, points=())
    fitted = first.result | {"room_fit": FIT.model_dump(mode="json")}
    builders.a_reduction(session=characterisation, points=(), supersedes=first, result=fitted)
    bundle = a_bundle(bench, tester)
    shelf.refresh([unit])
    return {
        "unit": reverse("unit", args=[unit.pk]) + "?show=all",
        "compare": reverse("compare") + f"?show=all&unit={unit.pk}",
        "room": reverse("room", args=[room.pk]),
        "result": reverse("result", args=[sessions[0].pk]),
        "fit": reverse("result", args=[characterisation.pk]),
        "windows": reverse("windows", args=[bundle.pk]),
        "colocation": reverse("colocation") + f"?session={bundle.pk}",
    }


def a_run(unit, day: int):
    start = builders.NOON + timedelta(days=day)
    known = {"start": start, "shortfall": STEPS, "capacity_u95_w": 10.0}
    points = (
        builders.a_result_point(label="A", capacity_w=2300.0 + day, end=start + timedelta(hours=1), **known),
        builders.a_result_point(label="B", capacity_w=2310.0 + day, end=start + timedelta(hours=1), **known),
    )
    session = builders.a_session(bench=unit.bench, unit=unit, name=f"Day {day}")
    builders.a_reduction(session=session, points=points)
    return session


def a_bundle(bench, tester):
    """Return a session of three sensors that hung together, its channels confirmed."""
    lines = ["time_utc,Room 1 (°C),Room 2 (°C),Hall (°C)"]
    for minute in range(90):
        stamp = (builders.NOON + timedelta(minutes=minute)).strftime("%Y-%m-%dT%H:%M:%SZ")
        lines.append(f"{stamp},{22.3 + 0.02 * sin(minute):.3f},{21.9 + 0.02 * sin(2 * minute):.3f},21.8")
    session = builders.a_session(bench=bench, name="Bundle", purpose="side_by_side")
    upload.keep_files(session=session, files=[ContentFile("\n".join(lines).encode(), "bundle.csv")], by=tester.person)
    channels = list(Channel.objects.filter(file__session=session))
    mapping.confirm(channels=channels, choices={channel.pk: {} for channel in channels}, by=tester.person)
    return session


def figures(page: str) -> dict[str, str]:
    """Return the HTML of each chart of a page by its key."""
    found = re.findall(r'<figure class="chart" id="chart-([\w-]+)".*?</figure>', page, flags=re.S)
    whole = re.findall(r'<figure class="chart" id="chart-[\w-]+".*?</figure>', page, flags=re.S)
    return dict(zip(found, whole, strict=True))


@pytest.mark.django_db
def test_every_chart_has_words_a_table_and_its_files(pages, tester):
    seen: set[str] = set()
    for address in pages.values():
        page = tester.get(address).text
        for key, figure in figures(page).items():
            seen.add(re.sub(r"-\d+$", "", key))
            assert re.search(r'<svg role="img" aria-label="[^"]{20,}"', figure), key
            table = re.search(r'href="#([\w-]+)">The numbers', figure)
            assert f'<table class="data stack" id="{table[1]}"' in page if table else "<table" in figure, key
            files = {form: address_of(figure, address, form) for form in ("svg", "png", "csv")}
            for form, begin in BEGINS.items():
                answer = tester.get(files[form])
                assert answer.content.startswith(begin), key
                assert answer["Content-Disposition"] == f'attachment; filename="{key}.{form}"'
            csv = pd.read_csv(io.BytesIO(tester.get(files["csv"]).content))
            assert not csv.empty, key
            assert not [cell for cell in map(str, csv.to_numpy().ravel()) if cell.startswith("=")]
    unpublished = {"cost", "capacity-wet-bulb", "eer-wet-bulb"}  # need what this bench has not measured
    assert seen >= NAMES | PICTURES.keys() - unpublished


def address_of(figure: str, page: str, form: str) -> str:
    """Return where a figure's file is, which may be at its page's own address."""
    address = unescape(re.search(rf'<a href="([^"]+)" download>{form.upper()}<', figure)[1])
    return page.partition("?")[0] + address if address.startswith("?") else address


@pytest.mark.django_db
def test_the_numbers_of_a_bench_charts_file_are_those_of_its_table(pages, tester):
    csv = pd.read_csv(io.BytesIO(tester.get(pages["unit"].partition("?")[0] + "?chart=control-1.csv").content))
    # Ten runs, two a day of 2300 + day and 2310 + day W; the limits of the fourth by hand from the three before it:
    # mean 2303.67, s 5.508, 3 s √(1 + 1/3) = 19.08 (the runs' own u of 5 W is less).
    assert sorted(csv["capacity [W]"]) == sorted(2300.0 + day + 10 * second for day in range(5) for second in (0, 1))
    before = csv["capacity [W]"][:3]
    half = 3 * max(before.std(ddof=1), 5.0) * (1 + 1 / 3) ** 0.5
    assert csv["low_limit [W]"][3] == pytest.approx(before.mean() - half, abs=0.01)
    assert csv["high_limit [W]"][3] == pytest.approx(before.mean() + half, abs=0.01)
    assert csv["verdict"][:4].tolist() == ["builds the chart"] * 3 + ["inside"]


@pytest.mark.django_db
def test_a_bench_charts_file_is_for_who_may_see_its_page(pages, tester, stranger):
    address = pages["room"] + "?chart=leakage.png"
    assert tester.get(address).status_code == 200
    assert stranger.get(address).status_code == 404
    for unknown in ("leakage.exe", "nothing.png", "leakage", ""):
        assert tester.get(pages["room"], {"chart": unknown}).status_code == 404
