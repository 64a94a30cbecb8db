"""The people of a bench: who they are, who may join and how, to whom the bench is handed, and what became of it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from units import access
from units.actions import handovers, invitations, second_step
from units.actions import people as people_actions
from units.forms.bench import AdmitForm, HandOverForm, InviteForm, SecondStepRuleForm
from units.middleware import BenchRequest
from units.models import Bench, BenchChange, Handover, Invitation, Membership, Person

MOST_HISTORY = 50


@access.at_bench(posting="own")
def people(request: BenchRequest, bench: Bench) -> HttpResponse:
    """List the people of the bench; an owner admits more by user name."""
    if request.method != "POST":
        return _page(request, bench)
    form = AdmitForm(request.POST, auto_id="admit_%s")
    member = _done(form, lambda: people_actions.admit(bench=bench, **form.cleaned_data, by=request.user))
    if member is None:
        return _page(request, bench, admit=form)
    messages.success(request, f"{member.person} is {member.get_role_display().lower()} of {bench}.")
    return redirect("people")


@login_required
@require_POST
def dismiss(request: BenchRequest, membership_id: int) -> HttpResponse:
    """Take a person off the bench."""
    membership = access.fetch(Membership, membership_id, person=request.user, to="own")
    try:
        person = people_actions.dismiss(membership=membership, by=request.user)
        messages.success(request, f"{person} no longer works at {membership.bench}.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("people")


@access.at_bench(to="own")
@require_POST
def invite(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Make a link by which a person joins, and show it, this once."""
    form = InviteForm(request.POST, auto_id="invite_%s")
    made = _done(form, lambda: invitations.invite(bench=bench, **form.cleaned_data, by=request.user))
    if made is None:
        return _page(request, bench, invite=form)
    invitation, secret = made
    address = request.build_absolute_uri(reverse("invitation", args=[secret]))
    response = _page(request, bench, made={"invitation": invitation, "address": address})
    response["Cache-Control"] = "private, no-store"
    return response


@login_required
@require_POST
def revoke(request: BenchRequest, invitation_id: UUID) -> HttpResponse:
    """End an invitation."""
    invitation = access.fetch(Invitation, invitation_id, person=request.user, to="own")
    invitations.revoke(invitation=invitation, by=request.user)
    messages.success(request, f"The link for {invitation.label} works no longer.")
    return redirect("people")


@access.at_bench(to="own")
@require_POST
def hand_over(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Offer the bench to another person."""
    form = HandOverForm(request.POST, auto_id="hand_over_%s")
    offer = _done(form, lambda: handovers.offer(bench=bench, **form.cleaned_data, by=request.user))
    if offer is None:
        return _page(request, bench, hand_over=form)
    messages.success(request, f"{offer.offered_to} is asked to take {bench} over; it stays yours until then.")
    return redirect("people")


@login_required
@require_POST
def withdraw_offer(request: BenchRequest, handover_id: UUID) -> HttpResponse:
    """Take an offer back."""
    handover = access.fetch(Handover, handover_id, person=request.user, to="own")
    try:
        handovers.withdraw(handover=handover, by=request.user)
        messages.success(request, "The offer is withdrawn; the bench stays yours.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("people")


@access.at_bench(to="own")
@require_POST
def require_second_step(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Ask everybody of the bench for a second step at sign-in, or no more."""
    form = SecondStepRuleForm(request.POST, auto_id="rule_%s")
    if _done(form, lambda: _ruled(bench, form.cleaned_data["begins"], request.user)) is None:
        return _page(request, bench, rule_form=form)
    messages.success(request, "Kept. The history below says who changed it and when.")
    return redirect("people")


def _ruled(bench: Bench, days: int | None, by: Person) -> object:
    if days is None:
        return second_step.require_no_more(bench=bench, by=by)
    return second_step.require(bench=bench, days=days, by=by)


def _done(form: forms.Form, act: Any) -> Any:
    """Return what the action made, or None where the form or the action refuses; the form then says why."""
    if not form.is_valid():
        return None
    try:
        return act()
    except ValidationError as error:
        form.add_error("username" if "username" in form.fields else None, error)
        return None


def _page(
    request: BenchRequest, bench: Bench, *, made: dict[str, Any] | None = None, **asked: forms.Form
) -> HttpResponse:
    members = (
        access.visible(Membership, request.user).filter(bench=bench).select_related("person", "person__second_step")
    )
    history = access.visible(BenchChange, request.user).filter(bench=bench).select_related("changed_by")
    now, may_own = timezone.now(), access.may(bench, request.user, "own")
    usable = access.visible(Invitation, request.user, to="own").filter(
        bench=bench, accepted_at__isnull=True, revoked_at__isnull=True, expires_at__gt=now
    )
    offer = access.visible(Handover, request.user, to="own").filter(bench=bench, outcome="", expires_at__gt=now)
    context = {
        "members": members.order_by("person__username"),
        "history": history[:MOST_HISTORY],
        "invitations": usable.select_related("invited_by"),
        "offer": offer.select_related("offered_to").first(),
        "may_own": may_own,
        "made": made,
        "admit": asked.get("admit") or AdmitForm(auto_id="admit_%s"),
        "invite": asked.get("invite") or InviteForm(auto_id="invite_%s"),
        "now": now,
        "rule": getattr(bench, "second_step_rule", None),
        "rule_form": asked.get("rule_form") or SecondStepRuleForm(auto_id="rule_%s"),
        "hand_over": asked.get("hand_over") or HandOverForm(auto_id="hand_over_%s"),
    }
    return render(request, "units/people.html", context, status=422 if asked else 200)
