"""Pictures of a session: each channel in small, the timeline with its windows, the parts of a result."""

from tests_app.charts.result import room_fit, shortfall, terms, windows_compared
from tests_app.charts.sparkline import level, sparkline
from tests_app.charts.timeline import TABLE_ROWS, timeline

__all__ = [
    "TABLE_ROWS",
    "level",
    "room_fit",
    "shortfall",
    "sparkline",
    "terms",
    "timeline",
    "windows_compared",
]
