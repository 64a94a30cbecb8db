"""A review in work: write, see, check, publish, correct, withdraw."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from tests_app.models import Point
from units import access
from units.actions import editions, reviews
from units.editions import difference
from units.editions.checklist import checklist, superseded
from units.editions.document import built, is_synthetic
from units.editions.figures import FIGURES, stale
from units.editions.material import Material
from units.editions.page import ORIGIN, STANDING, body_of, page_of
from units.editions.read import parsed, series
from units.editions.serve import origin_of
from units.editions.style import set_in
from units.forms.review import BeginForm, ContactForm, PublishForm, ReviewForm, ShareForm, WithdrawForm
from units.middleware import BenchRequest
from units.models import Bench, Review, Unit


@require_safe
@access.at_bench()
def listing(request: BenchRequest, bench: Bench) -> HttpResponse:
    """List the reviews of the bench of work."""
    found = access.visible(Review, request.user).filter(bench=bench).prefetch_related("units", "editions")
    context = {
        "reviews": found.select_related("withdrawal"),
        "may_edit": access.may(bench, request.user, "edit"),
        "is_synthetic": bench.is_synthetic,
    }
    return render(request, "units/reviews.html", context)


@access.at_bench(to="edit")
def new(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Begin a review of some units."""
    units = access.visible(Unit, request.user).filter(bench=bench)
    asked = {"units": request.GET.getlist("unit")}
    form = BeginForm(request.POST or None, units=units, initial=asked)
    if form.is_valid():
        review = reviews.begin(bench=bench, by=request.user, **form.cleaned_data)
        return redirect("review", review.pk)
    context = {"form": form, "title": "New review", "bench_of_thing": bench}
    return render(request, "units/thing_edit.html", context, status=422 if form.errors else 200)


@login_required
def edit(request: HttpRequest, review_id: UUID) -> HttpResponse:
    """Write the review; a reader of the bench sees the same without the means to change it."""
    intent: access.Intent = "edit" if request.method == "POST" else "read"
    review = access.fetch(Review, review_id, person=request.user, to=intent)
    form = ReviewForm(request.POST or None, instance=review)
    if request.method == "POST" and form.is_valid():
        reviews.write(review=review, by=request.user, **form.cleaned_data)
        messages.success(request, "Saved.")
        return redirect("review", review.pk)
    if form.errors:
        review = access.fetch(Review, review_id, person=request.user, to="edit")
    context = _around(request, review) | {"form": form, "live": _draft_text(request, review)}
    return render(request, "units/review.html", context, status=422 if form.errors else 200)


def _around(request: HttpRequest, review: Review) -> dict[str, Any]:
    """Return what stands around the text: points to choose, what is stale, the checklist, editions, links, answers."""
    material = Material.of(review)
    is_owner = access.may(review.bench, request.user, "own")
    return {
        "review": review,
        "material": material,
        "points": [(key, row, material.points[key]) for key, row in zip(material.points, material.rows, strict=True)],
        "choices": _choices(request, review),
        "figures": [(name, title) for name, (title, _) in FIGURES.items()],
        "stale": stale(review.body, review.bound_figures, material.points),
        "superseded": superseded(material),
        "checks": checklist(material),
        "editions": series(review.slug),
        "withdrawal": getattr(review, "withdrawal", None),
        "links": review.share_links.order_by("-created_at") if is_owner else [],
        "comments": review.maker_comments.order_by("-written_at") if is_owner else [],
        "contact_form": ContactForm(),
        "share_form": ShareForm(),
        "now": timezone.now(),
        "may_edit": access.may(review.bench, request.user, "edit"),
        "may_publish": is_owner,
        "is_synthetic": is_synthetic(material),
    }


def _choices(request: HttpRequest, review: Review) -> list[tuple[Point, bool]]:
    """Return the usable points of the review's units with whether each is chosen."""
    chosen = {row.pk for row in review.points.all()}
    points = access.visible(Point, request.user).current().filter(unit__in=review.units.all(), usable=True)
    ordered = points.select_related("unit", "reduction__session").order_by(
        "unit__maker", "unit__model", *reviews.IN_ORDER
    )
    return [(point, point.pk in chosen) for point in ordered]


@login_required
@require_POST
def choose(request: HttpRequest, review_id: UUID) -> HttpResponse:
    """Set which points are shown."""
    review = access.fetch(Review, review_id, person=request.user, to="edit")
    asked = set(request.POST.getlist("point"))
    reviews.choose(
        review=review,
        points=[point for point, _ in _choices(request, review) if str(point.pk) in asked],
        by=request.user,
    )
    return redirect("review", review.pk)


@login_required
@require_POST
def take_newer(request: HttpRequest, review_id: UUID) -> HttpResponse:
    """Take the newest reductions' points."""
    review = access.fetch(Review, review_id, person=request.user, to="edit")
    reviews.take_newer(review=review, by=request.user)
    messages.success(request, "The newest results are in; read what the text says of them.")
    return redirect("review", review.pk)


@login_required
@require_POST
def answer(request: HttpRequest, review_id: UUID) -> HttpResponse:
    """Answer severe findings."""
    review = access.fetch(Review, review_id, person=request.user, to="edit")
    keys = {str(finding.pk) for finding in Material.of(review).severe}
    answers = {key: request.POST[f"answer-{key}"] for key in keys if f"answer-{key}" in request.POST}
    reviews.answer(review=review, answers=answers, by=request.user)
    return redirect("review", review.pk)


@login_required
@require_POST
def contact(request: HttpRequest, review_id: UUID) -> HttpResponse:
    """Record an attempt to reach the maker."""
    review = access.fetch(Review, review_id, person=request.user, to="edit")
    form = ContactForm(request.POST)
    if not form.is_valid():
        return _refused(request, review, form, "Record a contact")
    reviews.record_contact(review=review, by=request.user, **form.cleaned_data)
    return redirect("review", review.pk)


def _refused(request: HttpRequest, review: Review, form: Any, title: str) -> HttpResponse:
    context = {"form": form, "title": title, "bench_of_thing": review.bench}
    return render(request, "units/thing_edit.html", context, status=422)


@login_required
def preview(request: HttpRequest, review_id: UUID) -> HttpResponse:
    """Show the page as it would be published; posted text is shown as it stands in the editor, and nothing is saved."""
    review = access.fetch(Review, review_id, person=request.user)
    if request.method == "POST":
        form = ReviewForm(request.POST, instance=review)
        form.is_valid()
        review.body = form.cleaned_data.get("body", "")
    return HttpResponse(draft_page(review, request) if request.method == "GET" else _draft_text(request, review))


def draft_page(review: Review, request: HttpRequest, *, notice: str = "") -> str:
    """Return the draft's page; it has no digest and is not to be indexed."""
    html = page_of(_draft(Material.of(review)), sha256="", draft=True)
    return set_in(html, STANDING, notice).replace(ORIGIN, origin_of(request))


def _draft(material: Material) -> dict[str, Any]:
    before = material.review.editions.order_by("-number").first()
    data = built(material, number=before.number + 1 if before else 1, published_at=timezone.now(), before=before)
    return data | {"errata": parsed(before)["errata"] if before else []}


def _draft_text(request: HttpRequest, review: Review) -> str:
    html, _ = body_of(_draft(Material.of(review)), draft=True)
    return html.replace(ORIGIN, origin_of(request))


@login_required
def publish(request: HttpRequest, review_id: UUID) -> HttpResponse:
    """Go through the checklist and publish."""
    review = access.fetch(Review, review_id, person=request.user, to="own")
    before = review.editions.order_by("-number").first()
    form = PublishForm(request.POST or None, is_correction=before is not None)
    if request.method == "POST" and form.is_valid():
        try:
            edition = editions.publish(review=review, by=request.user, erratum=form.cleaned_data.get("erratum", ""))
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, f"Edition {edition.number} is published.")
            return redirect("review", review.pk)
    material = Material.of(review)
    checks = checklist(material)
    context = {
        "review": review,
        "form": form,
        "checks": checks,
        "ready": not any(check.faults and check.blocks for check in checks),
        "before": before,
        "changes": difference.changes(parsed(before), _draft(material)) if before else [],
        "is_synthetic": is_synthetic(material),
    }
    return render(request, "units/review_publish.html", context, status=422 if form.errors else 200)


@login_required
def withdraw(request: HttpRequest, review_id: UUID) -> HttpResponse:
    """Withdraw what is published, with a reason that readers see."""
    review = access.fetch(Review, review_id, person=request.user, to="own")
    form = WithdrawForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            editions.withdraw(review=review, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            return redirect("review", review.pk)
    context = {
        "form": form,
        "title": f"Withdraw “{review}”",
        "bench_of_thing": review.bench,
        "intro": "Its page will say that it was withdrawn, when and why. The editions stay readable, marked as "
        "withdrawn; its points leave the catalogue. This cannot be taken back.",
    }
    return render(request, "units/thing_edit.html", context, status=422 if form.errors else 200)
