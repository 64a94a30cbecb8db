"""Independent sessions: what an honest tester knows of them (`case.json`) as our own document."""

from __future__ import annotations

import json
import re

from reduction.session import Role, Session
from tests import practice_words as words
from tests.practice_words import Json, first_match, pick

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
STEMS = {
    r"heater.*_power": "heater_constant_power",
    r"heater.*_energy": "heater_energy",
    r"(?!total|house|mains).*_power": "other_power",
    r"(?!total|house|mains).*_energy": "other_energy",
    r"(condensate|bucket).*": "condensate_mass",
    r"(humidifier|tank).*_mass": "water_supply_mass",
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
JOULES_PER_KWH = 3.6e6
SI_OF_LIMITS = {"energy": JOULES_PER_KWH, "mass": 1e-3}
SYMBOLS = {"degC": "°C", "degF": "°F", "C": "°C", "F": "°F", "pct": "%"}


def session_of(case: Json) -> Session:
    """The same session in our own document."""
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
        "people": words.people(case),
        "solar": words.solar(case),
        "moisture": words.moisture(case),
        "heater_kind": words.heater_kind(case),
        "events": words.events(case),
        "windows": [pick(w, "label", "start_utc", "end_utc") for w in case.get("windows_noted") or []],
        "settings": {"set_room_temp_c": case.get("set_room_temp_c")} | pick(case, "altitude_m", "pressure_pa"),
        "notes": json.dumps(case.get("notes") or {}, ensure_ascii=False),
    }
    return Session.model_validate(document)


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


def known_role(theirs: str) -> tuple[str, str]:
    """Our role and the place it tells, from their word for it; what is nothing of ours is ignored."""
    role = ROLES.get(theirs, theirs)
    if role in {r.value for r in Role}:
        return role, "adjacent" if role == "adjacent_temp" else ""
    if theirs.startswith("adjacent_temp_"):
        return "adjacent_temp", theirs.removeprefix("adjacent_temp_")
    for part, found in STEMS.items():
        if re.fullmatch(part, theirs):
            return found, ""
    return "ignored", ""


def channel(given: Json, instruments: dict[str, Json]) -> Json:
    theirs = given["role"]
    role, place = known_role(theirs)
    source = instruments.get(given.get("instrument") or "", {})
    on_change = source.get("report") == "on_change"
    quiet_s = 2.5 * source["heartbeat_s"] if on_change and source.get("heartbeat_s") else None
    return {
        "file": given["file"],
        "column": given["column"],
        "role": role,
        "quantity_unit": SYMBOLS.get(given.get("unit") or "", given.get("unit")),
        "instrument": given.get("instrument") if source else None,
        "place": given.get("place") or place,
        "placement_u_c": given.get("placement_u_c") or 0.0,
        "kind": "held" if on_change and "power" in theirs else None,
        "stale_after_s": given.get("stale_after_s") or quiet_s,
        "is_difference": bool(given.get("is_difference")),
    }
