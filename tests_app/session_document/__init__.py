"""The only bridge between rows and `reduction.session`: a session as its document, and back."""

from tests_app.session_document.as_document import (
    claims_of,
    day_of,
    decision_of,
    describe_instrument,
    describe_room,
    describe_unit,
    instrument_id,
    room_of,
    to_document,
    valid_calibration,
    valid_value,
)
from tests_app.session_document.as_rows import from_document

__all__ = [
    "claims_of",
    "day_of",
    "decision_of",
    "describe_instrument",
    "describe_room",
    "describe_unit",
    "from_document",
    "instrument_id",
    "room_of",
    "to_document",
    "valid_calibration",
    "valid_value",
]
