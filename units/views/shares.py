"""Private links to a draft: made, revoked, read; and what a maker answers through one."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from units import access
from units.actions import reviews, shares
from units.editions.document import is_synthetic
from units.editions.material import Material
from units.editions.read import shared
from units.forms.review import CommentForm, ShareForm
from units.models import MakerComment, Review, ShareLink
from units.views.reviews import draft_page

PRIVATE = {
    "X-Robots-Tag": "noindex, nofollow, noarchive",
    "Referrer-Policy": "same-origin",  # the secret goes to no other site; none at all would break the answer form
    "Cache-Control": "private, no-store",
}


@login_required
@require_POST
def share(request: HttpRequest, review_id: UUID) -> HttpResponse:
    """Make a link and show it, this once."""
    review = access.fetch(Review, review_id, person=request.user, to="own")
    form = ShareForm(request.POST)
    if not form.is_valid():
        context = {"form": form, "title": "Share the draft", "bench_of_thing": review.bench}
        return render(request, "units/thing_edit.html", context, status=422)
    link, secret = shares.share(review=review, by=request.user, **form.cleaned_data)
    address = request.build_absolute_uri(reverse("shared", args=[secret]))
    response = render(request, "units/share_made.html", {"review": review, "link": link, "address": address})
    response["Cache-Control"] = "private, no-store"
    return response


@login_required
@require_POST
def revoke(request: HttpRequest, link_id: UUID) -> HttpResponse:
    """End a link at once."""
    link = access.fetch(ShareLink, link_id, person=request.user, to="own")
    shares.revoke(link=link, by=request.user)
    messages.success(request, "The link is ended.")
    return redirect("review", link.review_id)


@login_required
@require_POST
def decide(request: HttpRequest, comment_id: UUID) -> HttpResponse:
    """Accept a maker's answer for print, or take that back for editions to come."""
    comment = access.fetch(MakerComment, comment_id, person=request.user, to="own")
    verb = reviews.accept_comment if request.POST.get("accept") == "yes" else reviews.decline_comment
    verb(comment=comment, by=request.user)
    return redirect("review", comment.review_id)


@require_GET
def read(request: HttpRequest, secret: str) -> HttpResponse:
    """Show the draft to who holds the link."""
    link = shared(secret)
    notice = render_to_string("units/share_notice.html", {"link": link, "secret": secret})
    return _private(HttpResponse(draft_page(link.review, request, notice=notice)))


def reply(request: HttpRequest, secret: str) -> HttpResponse:
    """Take a maker's answer."""
    link = shared(secret)
    form = CommentForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            shares.comment(by=link, **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            return _private(render(request, "units/share_thanks.html", {"secret": secret}))
    context = {"form": form, "link": link, "secret": secret, "is_synthetic": is_synthetic(Material.of(link.review))}
    return _private(render(request, "units/share_reply.html", context, status=422 if form.errors else 200))


def _private(response: HttpResponse) -> HttpResponse:
    for name, value in PRIVATE.items():
        response[name] = value
    return response
