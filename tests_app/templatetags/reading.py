"""What was read, in plain words."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import available_timezones

from django import template
from django.utils import timezone

from tests_app import charts
from tests_app.models import SessionFile, Window
from tests_app.words import role_label
from units import quantities

register = template.Library()

SHAPES = {
    "wide table": "a table with a column for each channel",
    "event log": "a log of events",
    "one sensor": "the log of one sensor",
}
SURE = ((0.9, "sure"), (0.6, "likely"), (0.3, "a guess"), (0.0, "unclear"))
MINUTE_S, HOUR_S, DAY_S = 60, 3600, 86400


@register.simple_tag
def zones() -> list[str]:
    """Return the names of all IANA zones."""
    return sorted(available_timezones())


@register.filter
def sure_words(sure: float) -> str:
    """Write how sure a guess is."""
    return next(word for least, word in SURE if sure >= least)


@register.filter
def wordy(name: str) -> str:
    """Write a name of the program as words: `date_order` as “date order”."""
    return name.replace("_", " ")


@register.filter
def spoken(value: str) -> str:
    """Write a value of the program as a person says it: `month_first` as “month first”."""
    return {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", ".": "point"}.get(value, wordy(value))


@register.filter
def sentence(text: str) -> str:
    """Write a clause as a sentence."""
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")


@register.filter
def duration(seconds: float) -> str:
    """Write a span of time as a person says it: `10 s`, `5 min`, `3.5 h`."""
    if seconds < 2 * MINUTE_S:
        return f"{seconds:.3g} s"
    if seconds < 2 * HOUR_S:
        return f"{seconds / MINUTE_S:.3g} min"
    return f"{seconds / HOUR_S:.3g} h" if seconds < 3 * DAY_S else f"{seconds / DAY_S:.3g} days"


@register.filter
def in_words(log: dict[str, Any], reading: dict[str, Any]) -> str:
    """Write what a log is: shape, channels, span and pace."""
    columns = [column for column in reading["columns"] if column["log"] == log["path"]]
    found = f"Read as {SHAPES.get(log['shape'], wordy(log['shape']))}, {len(columns)} channel{'s'[: len(columns) != 1]}"
    firsts = [column["first"] for column in columns if column["first"]]
    if not firsts:
        return f"{found}, without a single row that has a time."
    first = timezone.localtime(datetime.fromisoformat(min(firsts)))
    last = timezone.localtime(datetime.fromisoformat(max(column["last"] for column in columns if column["last"])))
    paces = sorted({round(column["step_s"], 1) for column in columns if column["step_s"]})
    pace = f", a reading every {duration(paces[0])}" if len(paces) == 1 else ""
    pace = f", readings every {duration(paces[0])} to {duration(paces[-1])}" if len(paces) > 1 else pace
    ends = f"{last:%H:%M:%S}" if last.date() == first.date() else f"{last:%-d %b %Y %H:%M:%S}"
    span = duration((last - first).total_seconds())
    return f"{found}, from {first:%-d %b %Y %H:%M:%S} to {ends} ({span}, {first:%Z}){pace}."


@register.filter
def length_words(window: Window) -> str:
    """Write how long a window is."""
    return duration((window.end - window.start).total_seconds())


@register.filter
def drawn_at(window: Window, rows: list[tuple[Window, Any]]) -> int | str:
    """Return a window's place among those that the timeline draws; nothing for one that was left out."""
    drawn = [other.pk for other, _ in rows if other.is_drawn]
    return drawn.index(window.pk) if window.pk in drawn else ""


@register.filter
def passed_words(evidence: list[dict[str, Any]]) -> str:
    """Write how many of the tests a window passes."""
    passed = sum(row["passed"] for row in evidence)
    return f"{passed} of {len(evidence)} tests hold"


@register.filter
def level_words(column: dict[str, Any]) -> str:
    """Write a channel's lowest and highest reading."""
    return charts.level(column)


@register.filter
def channel_rows(file: SessionFile) -> list[dict[str, Any]]:
    """Return each channel with what is shown of it."""
    read = {column["name"]: column for column in file.reading.get("columns", ())}
    return [_row(channel, read.get(channel.column)) for channel in file.channels.all()]


def _row(channel: Any, column: dict[str, Any] | None) -> dict[str, Any]:
    guess = next((guess for guess in channel.guesses if guess["what"] == "role"), {"sure": 0.0, "because": ""})
    missing = f", {column['missing']} missing" if column and column["missing"] else ""
    return {
        "channel": channel,
        "role": role_label(channel.role),
        "readings": f"{column['samples']:,}{missing}" if column else "",
        "level": charts.level(column | {"quantity_unit": channel.quantity_unit}) if column else "",
        "sure": guess["sure"],
        "sure_words": sure_words(guess["sure"]),
        "because": guess["because"],
    }


# --- figures of a result ---------------------------------------------------------------------------------


@register.filter
def span_words(point: Any) -> str:
    """Write how long a point's window is."""
    return duration((point.end - point.start).total_seconds())


@register.filter
def signed(value: float) -> str:
    """Write a term with its sign, to a tenth of a watt, so that the sum can be checked."""
    return ("+" if value > 0 else "") + quantities.number(value, 1)


@register.filter
def two_decimals(value: float) -> str:
    """Write to a hundredth."""
    return quantities.number(value, 2)


@register.filter
def one_decimal(value: float) -> str:
    """Write to a tenth."""
    return quantities.number(value, 1)


@register.filter
def money(amount: float) -> str:
    """Write an amount to a hundredth."""
    return quantities.number(amount, 2)


@register.filter
def whole_percent(fraction: float) -> str:
    """Write a probability or a stated tolerance, to a whole per cent."""
    return f"{quantities.number(100 * fraction)} %"


@register.filter
def doubled(u: float) -> str:
    """Write a standard uncertainty as twice itself, to a tenth."""
    return quantities.number(2 * u, 1)


@register.filter
def three(value: float | None) -> str:
    """Write to three significant digits."""
    return quantities.with_uncertainty(value)


@register.simple_tag
def u95(value: float, u: float, unit: str = "W") -> str:
    """Write a value with twice its standard uncertainty; a plain number has the unit 1, which is not written."""
    return quantities.with_uncertainty(value, 2 * u, "" if unit == "1" else unit)


@register.filter
def condition_words(name: str) -> str:
    """Write the name of a condition: `outdoor_temp_c` as “Outdoor temperature”."""
    return role_label(name.removesuffix("_c").removesuffix("_percent"))


@register.simple_tag(takes_context=True)
def condition(context: dict[str, Any], name: str, measured: Any) -> str:
    """Write a condition with its uncertainty, in the reader's units."""
    if name.endswith("_c"):
        return quantities.temp(measured.value, 2 * measured.u, context.get("display") or quantities.METRIC)
    return quantities.with_uncertainty(measured.value, 2 * measured.u, "%" if name.endswith("_percent") else "")
