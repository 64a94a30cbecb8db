"""Write the demo's reviews and publish them, by the actions a reviewer uses."""

from __future__ import annotations

import re
import tomllib
from datetime import date, time
from pathlib import Path
from typing import Any

from django.conf import settings

from tests_app.models import Finding
from units.actions import editions, reviews
from units.models import Bench, Person, Review, Unit

REVIEWS = Path(settings.BASE_DIR) / "fixtures" / "demo" / "reviews.toml"
WRITTEN = ("title", "summary", "disclosure", "body", "publish_raw")

Spec = dict[str, Any]


def publish_all(*, bench: Bench, by: Person) -> list[Review]:
    """Write and publish each review that is not there yet and whose units are; one left as a draft stays a draft."""
    units = {str(unit): unit for unit in bench.units.all()}
    begun = set(bench.reviews.values_list("title", flat=True))
    specs = tomllib.loads(REVIEWS.read_text(encoding="utf-8"))["reviews"]
    missing = [spec for spec in specs if spec["title"] not in begun and units.keys() >= set(spec["units"])]
    return [_review(bench, spec, [units[name] for name in spec["units"]], by) for spec in missing]


def _review(bench: Bench, spec: Spec, units: list[Unit], by: Person) -> Review:
    review = reviews.begin(bench=bench, units=units, title=spec["title"], by=by)
    written = {name: spec[name] for name in WRITTEN if name in spec}
    written["body"] = _with_points(spec["body"], spec.get("cites", {}), review)
    review = reviews.write(review=review, by=by, **written)
    for contact in spec.get("contacts", []):
        on = date.fromisoformat(contact["on"])
        at = time.fromisoformat(contact["at"]) if "at" in contact else None
        reviews.record_contact(review=review, on=on, at=at, how=contact["how"], outcome=contact["outcome"], by=by)
    if spec.get("draft"):
        return review
    severe = Finding.objects.filter(reduction__points__in=review.points.all(), severity="severe")
    review = reviews.answer(review=review, answers={str(one.pk): spec["answer"] for one in severe}, by=by)
    editions.publish(review=review, by=by)
    if "correction" in spec:
        review = reviews.write(review=review, by=by, summary=spec["correction"]["summary"])
        editions.publish(review=review, by=by, erratum=spec["correction"]["erratum"])
    return review


def _with_points(body: str, cites: dict[str, list[str]], review: Review) -> str:
    """Return the text with each cited session's first point under the short name it has in the review."""
    names: dict[tuple[str, str], str] = {}
    for point in review.points.select_related("unit", "reduction__session").order_by("start"):
        names.setdefault((str(point.unit), point.reduction.session.name), review.point_keys[str(point.pk)])
    called = {word: names[unit, session] for word, (unit, session) in cites.items()}
    return re.sub(r"\{\{ (\w+) ", lambda found: f"{{{{ {called.get(found[1], found[1])} ", body)
