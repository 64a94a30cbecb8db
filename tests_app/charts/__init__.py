"""Pictures of a session: each channel in small, the timeline with its windows, the parts of a result."""

from tests_app.charts.result import room_fit, shortfall, terms, windows_compared
from tests_app.charts.sparkline import level, sparkline
from tests_app.charts.timeline import TABLE_ROWS, span_table, timeline

__all__ = [
    "TABLE_ROWS",
    "level",
    "room_fit",
    "shortfall",
    "span_table",
    "sparkline",
    "terms",
    "timeline",
    "windows_compared",
]
