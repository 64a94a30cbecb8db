"""Independent sessions: what an honest tester knows of them (`case.json`) as our own document."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from typing import Any

from reduction.session import Role, Session

Json = dict[str, Any]

ROLES = {
    "ac_power": "unit_power",
    "ac_energy": "unit_energy",
    "heater_const_power": "heater_constant_power",
    "heater_const_energy": "heater_energy",
    "heater_cycling_energy": "heater_energy",
    "cond_inlet_temp": "condenser_inlet_temp",
    "cond_outlet_temp": "condenser_outlet_temp",
    "humidifier_mass": "water_supply_mass",
    "tank_mass": "water_supply_mass",
    "bucket_mass": "condensate_mass",
    "makeup_temp": "makeup_air_temp",
    "make_up_air_temp": "makeup_air_temp",
    "irradiance": "solar_irradiance",
}
UNIT_KINDS = (
    (r"(single|one).*(duct|hose)", "single_duct_portable"),
    (r"(dual|two|double).*(duct|hose)", "dual_duct_portable"),
    (r"portable", "single_duct_portable"),
    (r"split", "mini_split"),
    (r"wall", "through_wall"),
    (r"", "window"),
)
CONSTRUCTIONS = (
    (r"very light", "very_light"),
    (r"heavy|masonry|concrete", "heavy"),
    (r"medium", "medium"),
    (r"light|timber", "light"),
)
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
JOULES_PER_KWH = 3.6e6
SI_OF_LIMITS = {"energy": JOULES_PER_KWH, "mass": 1e-3}
SYMBOLS = {"degC": "°C", "degF": "°F", "C": "°C", "F": "°F", "pct": "%"}


def first_match(text: str, table: Sequence[tuple[str, str]], default: str) -> str:
    return next((value for pattern, value in table if re.search(pattern, text, re.IGNORECASE)), default)


def all_text(case: Json) -> str:
    """Everything the tester wrote in words."""
    words = [case.get("notes"), case.get("events"), case.get("fixed_loads"), case.get("heaters"), case.get("heater")]
    return json.dumps([w for w in words if w], ensure_ascii=False)


def session_of(case: Json) -> Session:
    """The same session in our own document."""
    text = all_text(case)
    instruments = [instrument(i) for i in case.get("instruments", [])]
    by_id = {i["id"]: i for i in case.get("instruments", [])}
    document = {
        "name": case.get("session", "session"),
        "synthetic": case.get("synthetic", True),
        "purpose": "cooling" if (case.get("room") or {}).get("characterised") else purpose(case),
        "time_zone": case.get("time_zone") or "UTC",
        "unit": unit(case),
        "room": room(case),
        "instruments": instruments,
        "files": [log_file(f) for f in case.get("files", [])],
        "channels": [channel(c, by_id) for c in case.get("channels", [])],
        "fixed_loads": [pick(load, "what", "power_w", "u95_w") for load in case.get("fixed_loads", [])],
        "people": people(case),
        "solar": solar(case),
        "moisture": moisture(case),
        "heater_kind": first_match(text, HEATER_KINDS, "unknown"),
        "events": events(case.get("events", [])),
        "windows": [pick(w, "label", "start_utc", "end_utc") for w in case.get("windows_noted") or []],
        "settings": {"set_room_temp_c": case.get("set_room_temp_c"), "altitude_m": case.get("altitude_m") or 0.0},
        "notes": json.dumps(case.get("notes") or {}, ensure_ascii=False),
    }
    return Session.model_validate(document)


def pick(source: Json, *names: str) -> Json:
    return {name: source[name] for name in names if source.get(name) is not None}


def purpose(case: Json) -> str:
    labels = {w.get("label") for w in case.get("windows_noted") or []}
    return "characterisation" if labels & {"held", "decay", "off", "co-heating"} else "cooling"


def unit(case: Json) -> Json:
    given, flow = case["unit"], case.get("airflow") or {}
    measured = flow.get("measured_room_air_flow_m3_h")
    return {
        "model": given["name"],
        "kind": first_match(f"{given.get('kind', '')} {given['name']}".replace("_", " "), UNIT_KINDS, "window"),
        "compressor": {"variable": "variable_speed", "inverter": "variable_speed", "fixed": "fixed_speed"}.get(
            str(given.get("compressor", "")).split(" ")[0], "unknown"
        ),
        "refrigerant": given.get("refrigerant") or "",
        "claims": [claim(c) for c in given.get("claims", [])],
        "claimed_air_flow_m3_per_h": flow.get("claimed_room_air_flow_m3_h"),
        "measured_air_flow_m3_per_h": measured,
        "measured_air_flow_u95_m3_per_h": flow.get("u95_m3_h") if measured else None,
    }


def claim(given: Json) -> Json:
    wanted = {
        "quantity": given["quantity"].lower().replace(" ", "_"),
        "value": given["value"],
        "quantity_unit": given["unit"],
    }
    degrees = [float(v) for v in re.findall(r"(-?[\d.]+)\s*°C", given.get("condition") or "")]
    if len(degrees) == 3:
        outdoor, room_c, bulb = degrees
        wanted["condition"] = {
            "name": given["condition"], "outdoor_temp_c": outdoor, "room_temp_c": room_c, "room_wet_bulb_c": bulb,
        }  # fmt: skip
    return wanted


def room(case: Json) -> Json:
    given = case["room"]
    known = given.get("characterised") or {}
    surfaces = [
        {"to": place_name(name), "ua_w_per_k": value, "u95_w_per_k": known[f"u95_ua_{name}"]}
        for key, value in known.items()
        if value is not None
        and (name := key.removeprefix("ua_").removesuffix("_w_per_k")) != key
        and known.get(f"u95_ua_{name}") is not None
    ]
    return {
        "name": given.get("name") or "",
        "volume_m3": given["volume_m3"],
        "floor_m2": given.get("floor_m2"),
        "construction": first_match(given.get("construction") or "", CONSTRUCTIONS, "unknown"),
        "surfaces": surfaces,
        "c_eff_j_per_k": known.get("c_eff_j_per_k"),
        "c_eff_u95_j_per_k": known.get("u95_c_eff"),
        "surfaces_include_infiltration": known.get("includes_infiltration", True),
        "infiltration_m3_per_h": known.get("infiltration_m3_h"),
        "infiltration_u95_m3_per_h": known.get("u95_infiltration"),
        "found_by": known.get("how") or "",
    }


def place_name(suffix: str) -> str:
    return {"out": "outdoor", "adj": "adjacent"}.get(suffix, suffix)


def instrument(given: Json) -> Json:
    """Limits in SI; a reporting threshold hides a signal as a coarser display would."""
    factor = SI_OF_LIMITS.get(given.get("quantity", ""), 1.0)
    step = max(given.get("resolution") or 0.0, 2.0 * (given.get("threshold") or 0.0))
    corrections = {k: v for k, v in given.items() if k.startswith(("offset_correction", "gain_correction", "calibr"))}
    return corrections | {
        "id": given["id"],
        "model": given.get("model") or "",
        "quantity": given.get("quantity") or "",
        "offset_limit": factor * (given.get("offset_lim") or 0.0),
        "gain_limit": given.get("gain_lim") or 0.0,
        "resolution": factor * step,
        "distribution": first_match(
            given.get("distribution") or "", ((r"triang", "triangular"), (r"normal|95", "normal_95")), "rectangular"
        ),
        "noise": factor * (given.get("noise") or 0.0),
        "time_constant_s": given.get("tau_s") or 0.0,
    }


def log_file(given: Json) -> Json:
    profile = {
        ours: given[theirs]
        for theirs, ours in (("time_zone", "time_zone"), ("start_utc", "start_utc"), ("date", "declared_date"))
        if given.get(theirs)
    }
    clock = given.get("clock") or {}
    offset = given.get("clock_offset_s", clock.get("offset_s")) or 0.0
    return {
        "path": given["path"],
        "profile": profile | (given.get("profile") or {}),
        "clock": {"offset_s": offset, "drift_ppm": clock.get("drift_ppm") or 0.0} if offset or clock else {},
    }


def channel(given: Json, instruments: dict[str, Json]) -> Json:
    theirs = given["role"]
    role = ROLES.get(theirs, theirs)
    source = instruments.get(given.get("instrument") or "", {})
    on_change = source.get("report") == "on_change"
    quiet_s = 2.5 * source["heartbeat_s"] if on_change and source.get("heartbeat_s") else None
    return {
        "file": given["file"],
        "column": given["column"],
        "role": role if role in {r.value for r in Role} else "ignored",
        "quantity_unit": SYMBOLS.get(given.get("unit") or "", given.get("unit")),
        "instrument": given.get("instrument") if source else None,
        "place": given.get("place") or ("adjacent" if theirs == "adjacent_temp" else ""),
        "placement_u_c": given.get("placement_u_c") or 0.0,
        "kind": "held" if on_change and "power" in theirs else None,
        "stale_after_s": given.get("stale_after_s") or quiet_s,
        "is_difference": bool(given.get("is_difference")),
    }


def events(given: Sequence[Json]) -> list[Json]:
    """Events by kind; `door open` lasts until the next `door shut`."""
    found = []
    for number, event in enumerate(given):
        what = event["what"]
        closing = re.search(r"shut|closed|off again|end", what) and "door" in what
        end = event.get("end_utc")
        if "door" in what and "open" in what and end is None:
            end = next((e["time_utc"] for e in given[number + 1 :] if re.search(r"door.*(shut|clos)", e["what"])), None)
        if not closing:
            kind = first_match(what, EVENT_KINDS, "note")
            found.append({"time_utc": event["time_utc"], "end_utc": end, "what": what, "kind": kind})
    return found


def notes_about(case: Json, *words: str) -> Iterator[str]:
    notes = case.get("notes") or {}
    for key, value in notes.items() if isinstance(notes, dict) else [("", notes)]:
        if any(word in f"{key} {value}".lower() for word in words):
            yield value if isinstance(value, str) else json.dumps(value)


def people(case: Json) -> list[Json]:
    given = case.get("people") or []
    if given:
        return [
            pick(p, "count", "sensible_w_each", "latent_w_each", "u95_w_each", "start_utc", "end_utc")
            for p in (given if isinstance(given, list) else [given])
        ]
    for text in notes_about(case, "person", "people"):
        count = re.search(r"\b(\d+|no|a|one|two|three|four)\b[^.]{0,20}\b(person|people)", text.lower())
        if count and (n := NUMBER_WORDS.get(count[1]) if not count[1].isdigit() else int(count[1])):
            return [{"count": n}]
    return []


def solar(case: Json) -> list[Json]:
    given = case.get("solar") or []
    return [
        pick(s, "power_w", "u95_w", "start_utc", "end_utc")
        for s in (given if isinstance(given, list) else [given])
        if "power_w" in s
    ]


def moisture(case: Json) -> Json:
    """What the notes say about water, in words such as `the humidifier's tank stands on a second scale`."""
    text = " ".join(notes_about(case, "moisture", "humidif", "condensate", "bucket"))
    given = case.get("moisture") or {}
    loads = " ".join(load["what"] for load in case.get("fixed_loads", []))
    humid = first_match(f"{text} {loads}", HUMIDIFIERS, "none") if "humidif" in f"{text} {loads}".lower() else "none"
    degrees = re.search(r"water (?:about|at|of)\s*(-?[\d.]+)\s*°C", text)
    return pick(given, "water_supply_temp_c", "condensate_temp_c", "weighings") | {
        "humidifier": given.get("humidifier") or humid,
        "water_supply_temp_c": given.get("water_supply_temp_c") or (float(degrees[1]) if degrees else None),
        "condensate_leaves_room": bool(re.search(r"(drain|led|runs?|flows?)[^.]*outdoors|outside", text)),
        "condensate_on_condenser": True if re.search(r"sling|on(to)? the condenser", text) else None,
    }
