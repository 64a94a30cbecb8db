"""What a tester does to an instrument."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction

if TYPE_CHECKING:
    from units.models import Bench, CalibrationRecord, Instrument, Person


@transaction.atomic
def record(*, instrument: Instrument, bench: Bench, by: Person) -> Instrument:
    """Keep an instrument on its bench."""
    instrument.bench = bench
    instrument.save()
    return instrument


@transaction.atomic
def calibrate(*, instrument: Instrument, calibration: CalibrationRecord, by: Person) -> CalibrationRecord:
    """Add a calibration, valid from its day on; the due day follows from the interval where none is given."""
    calibration.instrument = instrument
    if calibration.due_on is None and instrument.calibration_interval_days:
        calibration.due_on = calibration.valid_from + timedelta(days=instrument.calibration_interval_days)
    calibration.done_by = calibration.done_by or by.get_username()
    calibration.save(force_insert=True)
    return calibration
