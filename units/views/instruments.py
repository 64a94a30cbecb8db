"""Instruments: list with what expires, one instrument, its calibrations."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import OuterRef, Subquery
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from tests_app.actions.outdated import outdated
from tests_app.models import Session
from units import access
from units.actions import instruments as actions
from units.forms.instrument import DISTRIBUTIONS, SI_UNITS, CalibrationForm, InstrumentForm
from units.middleware import BenchRequest
from units.models import Bench, CalibrationRecord, Instrument

A_FEW = 50


@require_safe
@access.at_bench()
def listing(request: BenchRequest, bench: Bench) -> HttpResponse:
    """List the instruments of the bench of work with the state of their calibration."""
    newest = access.visible(CalibrationRecord, request.user).filter(instrument=OuterRef("pk")).order_by("-valid_from")
    instruments = access.visible(Instrument, request.user).filter(bench=bench)
    context = {
        "instruments": instruments.annotate(
            calibrated_on=Subquery(newest.values("valid_from")[:1]), due_on=Subquery(newest.values("due_on")[:1])
        ),
        "today": timezone.localdate(),
        "units_of": SI_UNITS,
        "may_edit": access.may(bench, request.user, "edit"),
    }
    return render(request, "units/instruments.html", context)


@require_safe
@login_required
def show(request: BenchRequest, instrument_id: UUID) -> HttpResponse:
    """Show an instrument and its calibrations."""
    instrument = access.fetch(Instrument, instrument_id, person=request.user)
    mine = access.visible(Session, request.user).filter(files__channels__instrument=instrument).distinct()
    mine = mine.select_related("unit", "room", "bench")
    context = {
        "instrument": instrument,
        "si_unit": SI_UNITS.get(instrument.quantity, ""),
        "distribution": DISTRIBUTIONS.get(instrument.distribution, instrument.distribution),
        "calibrations": access.visible(CalibrationRecord, request.user).filter(instrument=instrument),
        "today": timezone.localdate(),
        "sessions": mine[:A_FEW],
        "outdated": outdated(mine.filter(reductions__isnull=False)),
        "may_edit": access.may(instrument.bench, request.user, "edit"),
        "is_synthetic": instrument.bench.is_synthetic,
    }
    return render(request, "units/instrument.html", context)


@access.at_bench(to="edit")
def new(request: BenchRequest, bench: Bench) -> HttpResponse:
    """Create an instrument."""
    return _edited(request, Instrument(bench=bench), bench)


@login_required
def edit(request: BenchRequest, instrument_id: UUID) -> HttpResponse:
    """Change an instrument's specification."""
    instrument = access.fetch(Instrument, instrument_id, person=request.user, to="edit")
    return _edited(request, instrument, instrument.bench)


def _edited(request: BenchRequest, instrument: Instrument, bench: Bench) -> HttpResponse:
    form = InstrumentForm(request.POST or None, instance=instrument)
    if request.method == "POST" and form.is_valid():
        saved = actions.record(instrument=form.save(commit=False), bench=bench, by=request.user)
        return redirect("instrument", saved.pk)
    context = {"form": form, "title": str(instrument) or "New instrument", "bench_of_thing": bench}
    return render(request, "units/thing_edit.html", context, status=422 if form.errors else 200)


@login_required
def calibrate(request: BenchRequest, instrument_id: UUID) -> HttpResponse:
    """Write down a calibration."""
    instrument = access.fetch(Instrument, instrument_id, person=request.user, to="edit")
    form = CalibrationForm(request.POST or None, request.FILES or None, initial={"valid_from": timezone.localdate()})
    if request.method == "POST" and form.is_valid():
        kept = actions.calibrate(instrument=instrument, calibration=form.save(commit=False), by=request.user)
        messages.success(
            request,
            f"Kept. It holds for tests from {kept.valid_from:%-d %B %Y} on. Results stay as they are; those it affects "
            "are listed below and can be reduced again beside the old.",
        )
        return redirect("instrument", instrument.pk)
    context = {
        "form": form,
        "title": f"Calibrate {instrument}",
        "bench_of_thing": instrument.bench,
        "intro": f"Quantities are in {SI_UNITS.get(instrument.quantity, 'SI units')}. "
        "A record is never edited: a newer one follows.",
        "caution": "Comparing plugs on mains: use a finished appliance as the load, never open wiring, and leave "
        "anything inside an enclosure to a licensed electrician."
        if instrument.quantity in {"power", "energy", "voltage"}
        else "",
    }
    return render(request, "units/thing_edit.html", context, status=422 if form.errors else 200)


@require_safe
@login_required
def certificate(request: BenchRequest, calibration_id: UUID) -> HttpResponse:
    """Hand out the certificate to the bench's people, as a download that no browser will run."""
    calibration = access.fetch(CalibrationRecord, calibration_id, person=request.user)
    if not calibration.certificate:
        raise Http404("No certificate here.")
    return FileResponse(calibration.certificate.open("rb"), as_attachment=True)
