"""What an honest tester wrote in words or in loose fields: people, sun, water, doors, heaters."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

Json = dict[str, Any]

EVENT_KINDS = (
    (r"door", "door"),
    (r"\bsun|blind", "sun"),
    (r"set ?-?point|setting", "set_point"),
    (r"frost|ice", "frost"),
    (r"heater", "heater"),
    (r"\bfan", "fan"),
)
HEATER_KINDS = (
    (r"fan[- ]?(forced|heater)|fan-assisted", "fan_forced"),
    (r"radiant|glow|quartz|panel|infrared", "radiant"),
    (r"\boil", "oil_filled"),
    (r"convector", "convector"),
)
HUMIDIFIERS = (
    (r"boil|steam", "boiling"),
    (r"ultrasonic|mist", "ultrasonic"),
    (r"evaporat|wick|humidif", "evaporative"),
)
NUMBER_WORDS = {"no": 0, "a": 1, "one": 1, "two": 2, "three": 3, "four": 4}
FIELDS = {
    "start_utc": ("start_utc", "from_utc", "since_utc"),
    "end_utc": ("end_utc", "to_utc", "until_utc"),
    "sensible_w_each": ("sensible_w_each", "sensible_w", "heat_w"),
    "latent_w_each": ("latent_w_each", "latent_w"),
    "u95_w_each": ("u95_w_each", "u95_w"),
    "power_w": ("power_w", "mean_w", "watts"),
    "u95_w": ("u95_w",),
    "count": ("count", "number"),
}


def first_match(text: str, table: Sequence[tuple[str, str]], default: str) -> str:
    return next((value for pattern, value in table if re.search(pattern, text, re.IGNORECASE)), default)


def all_text(case: Json) -> str:
    """Everything the tester wrote in words."""
    words = [case.get("notes"), case.get("events"), case.get("fixed_loads"), case.get("heaters"), case.get("heater")]
    return json.dumps([w for w in words if w], ensure_ascii=False)


def pick(source: Json, *names: str) -> Json:
    return {name: source[name] for name in names if source.get(name) is not None}


def renamed(source: Json, *names: str) -> Json:
    """Fields under our names, whichever of the usual ones they came under."""
    found = {name: next((source[n] for n in FIELDS[name] if source.get(n) is not None), None) for name in names}
    return {name: value for name, value in found.items() if value is not None}


def listed(given: Any) -> list[Json]:
    rows = given if isinstance(given, list) else [given] if given else []
    return [row for row in rows if isinstance(row, dict)]


def heater_kind(case: Json) -> str:
    return first_match(all_text(case), HEATER_KINDS, "unknown")


def events(case: Json) -> list[Json]:
    """Events by kind; `door open` lasts until the next `door shut`."""
    given = case.get("events") or []
    found = []
    for number, event in enumerate(given):
        what, end = event["what"], event.get("end_utc")
        if re.search(r"door.*(shut|clos)", what):
            continue
        if "door" in what and end is None:
            end = next((e["time_utc"] for e in given[number + 1 :] if re.search(r"door.*(shut|clos)", e["what"])), None)
        kind = first_match(what, EVENT_KINDS, "note")
        found.append({"time_utc": event["time_utc"], "end_utc": end, "what": what, "kind": kind})
    return found


def notes_about(case: Json, *words: str) -> Iterator[str]:
    notes = case.get("notes") or {}
    for key, value in notes.items() if isinstance(notes, dict) else [("", notes)]:
        text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
        if any(word in f"{key} {text}".lower() for word in words):
            yield text


def spoken_watts(text: str) -> float | None:
    found = re.search(r"(\d+(?:\.\d+)?)\s*(?:±\s*[\d.]+\s*)?W\b", text)
    return float(found[1]) if found else None


def spoken_u95(text: str, value: float) -> float:
    """The ± that stands beside the power, else half of it: a guess by eye."""
    found = re.search(r"±\s*([\d.]+)\s*W", text)
    return float(found[1]) if found else value / 2.0


def spoken_span(text: str, case: Json) -> Json:
    """Start and end as full stamps, or as times of day in the session's zone on the day of its first window."""
    stamps = re.findall(r"\d{4}-\d\d-\d\dT[\d:.]+Z", text)
    windows = case.get("windows_noted") or []
    if len(stamps) < 2 and windows:
        zone = ZoneInfo(case.get("time_zone") or "UTC")
        day = datetime.fromisoformat(windows[0]["start_utc"]).astimezone(zone).date()
        times = re.findall(r"\b([012]?\d:[0-5]\d)\b", text)
        stamps = [datetime.fromisoformat(f"{day}T{t:0>5}").replace(tzinfo=zone).isoformat() for t in times]
    if len(stamps) == 1 and "until" in text:
        return {"end_utc": stamps[0]}
    return {"start_utc": stamps[0], "end_utc": stamps[1]} if len(stamps) > 1 else {}


def people(case: Json) -> list[Json]:
    given = listed(case.get("people"))
    if given:
        names = ("count", "sensible_w_each", "latent_w_each", "u95_w_each", "start_utc", "end_utc")
        return [{"count": 1} | renamed(person, *names) for person in given]
    for text in notes_about(case, "person", "people", "tester"):
        count = re.search(r"\b(\d+|no|nobody|a|one|two|three|four)\b[^.]{0,20}\b(person|people|tester)", text.lower())
        n = (int(count[1]) if count[1].isdigit() else NUMBER_WORDS.get(count[1], 0)) if count else 0
        if n:
            watts = spoken_watts(text)
            heat = {"sensible_w_each": watts, "u95_w_each": spoken_u95(text, watts)} if watts else {}
            return [{"count": n} | heat | spoken_span(text, case)]
    return []


def solar(case: Json) -> list[Json]:
    given = [renamed(sun, "power_w", "u95_w", "start_utc", "end_utc") for sun in listed(case.get("solar"))]
    found = [{"u95_w": sun["power_w"] / 2.0} | sun for sun in given if "power_w" in sun]
    for text in notes_about(case, "solar", "sun "):
        watts = spoken_watts(text)
        if watts:
            found.append({"power_w": watts, "u95_w": spoken_u95(text, watts)} | spoken_span(text, case))
    return found


def moisture(case: Json) -> Json:
    """What the notes say about water, in words such as `the humidifier's tank stands on a second scale`."""
    text = " ".join(notes_about(case, "moisture", "humidif", "condensate", "bucket", "water"))
    given = case.get("moisture") or {}
    loads = " ".join(load["what"] for load in case.get("fixed_loads", []))
    said = f"{text} {loads}"
    humid = first_match(said, HUMIDIFIERS, "none") if re.search(r"(?<!de)humidifier", said.lower()) else "none"
    degrees = re.search(r"water[^.]{0,20}?(-?[\d.]+)\s*°C", text)
    return pick(given, "condensate_temp_c") | {
        "weighings": given.get("weighings") or weighings(case),
        "humidifier": given.get("humidifier") or humid,
        "water_supply_temp_c": given.get("water_supply_temp_c") or (float(degrees[1]) if degrees else None),
        "condensate_leaves_room": bool(re.search(r"(drain|led|run|flow)[^.]*(outdoors|outside)", text)),
        "condensate_on_condenser": True if re.search(r"sling|on(to)? the condenser", text) else None,
    }


def weighings(case: Json) -> list[Json]:
    """Weighings by hand: masses over a span, or readings of one vessel one after another."""
    found: list[Json] = []
    rows = listed(case.get("weighings"))
    for row in rows:
        span = renamed(row, "start_utc", "end_utc")
        if len(span) == 2:
            mass = row.get("mass_kg", (row.get("mass_g") or 0.0) / 1000.0)
            u95 = row.get("u95_kg", (row.get("u95_g") or 5.0) / 1000.0)
            found.append({"what": vessel(row), "mass_kg": mass, "u95_kg": u95} | span)
    readings = [row for row in rows if row.get("time_utc")]
    for what in ("condensate", "water_supply"):
        own = sorted((row for row in readings if vessel(row) == what), key=lambda row: row["time_utc"])
        if len(own) > 1:
            grams = abs(own[-1]["mass_g"] - own[0]["mass_g"])
            span = {"start_utc": own[0]["time_utc"], "end_utc": own[-1]["time_utc"]}
            found.append({"what": what, "mass_kg": grams / 1000.0, "u95_kg": 0.005} | span)
    return found


def vessel(row: Json) -> str:
    return "condensate" if re.search(r"condens|bucket", str(row.get("what", ""))) else "water_supply"
