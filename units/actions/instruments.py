"""What a tester does to an instrument."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

from django.db import transaction

from tests_app.session_document import valid_calibration
from units.models import CalibrationRecord

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reduction.examine.colocation import Offset
    from units.models import Bench, Instrument, Person


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


@transaction.atomic
def adopt_offsets(
    *, offsets: Mapping[Instrument, Offset], valid_from: date, how: str, by: Person
) -> list[CalibrationRecord]:
    """Write what a co-location check found as one calibration record an instrument; a gain that was known stays."""
    return [
        calibrate(instrument=instrument, calibration=_record_of(instrument, offset, valid_from, how), by=by)
        for instrument, offset in offsets.items()
    ]


def _record_of(instrument: Instrument, offset: Offset, valid_from: date, how: str) -> CalibrationRecord:
    before = valid_calibration(instrument, valid_from)
    gain = {} if before is None else {name: getattr(before, name) for name in ("gain_correction", "gain_correction_u")}
    return CalibrationRecord(
        valid_from=valid_from,
        how=how[:120],
        offset_correction=round(offset.offset_k, 4),
        offset_correction_u=round(offset.u_k, 4),
        **gain,
    )
