"""The first independent session as three loggers wrote it, and what a hand makes of their files.

`thermo.csv` stands as it is; the plugs' table is written again as an event log of the heaters and an energy meter.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

CASE = Path(__file__).resolve().parents[2] / "fixtures" / "independent" / "p1"
ZONE = "America/Denver"
UA_OUTDOOR, UA_HALL = 11.96, 20.63  # W/K, case.json of the session
STAMP = "%m/%d/%Y %I:%M:%S %p"
SILENT_S = 300


def write(folder: Path) -> list[Path]:
    """Write the three files and return their paths."""
    thermo, heaters, meter = (folder / name for name in ("thermo.csv", "heater-plugs.csv", "energy-meter.csv"))
    thermo.write_bytes((CASE / "files" / "thermo.csv").read_bytes())
    plugs = power()
    heaters.write_text(_events(plugs))
    meter.write_text(_meter(plugs))
    return [thermo, heaters, meter]


def power() -> pd.DataFrame:
    """Return what the plugs saw, by local time."""
    return _table(CASE / "files" / "power.csv", 0)


def thermometers() -> pd.DataFrame:
    """Return what the thermometers saw, in °C by local time; the humidity in %."""
    fahrenheit = _table(CASE / "files" / "thermo.csv", 3)
    return pd.DataFrame(
        {name.split(" (")[0]: (values - 32) / 1.8 if "°F" in name else values for name, values in fahrenheit.items()}
    )


def _table(path: Path, preamble: int) -> pd.DataFrame:
    table = pd.read_csv(path, skiprows=preamble, encoding="utf-8-sig", skip_blank_lines=False)
    times = pd.to_datetime(table.pop("Date Time"), format=STAMP).dt.tz_localize(ZONE)
    return table.set_index(times).astype(float)


def _events(plugs: pd.DataFrame) -> str:
    """Write a row where a plug's reading changed by more than 2 W, and at least every five minutes."""
    rows = ["name,time,value,unit"]
    for name in ("Heater A", "Heater B"):
        last, said = None, plugs.index[0]
        for time, watts in plugs[f"{name} (W)"].items():
            if last is None or abs(watts - last) > 2 or (time - said).total_seconds() >= SILENT_S:
                rows.append(f"{name.lower().replace(' ', '_')}_w,{time.tz_convert('UTC'):%Y-%m-%dT%H:%M:%SZ},{watts},W")
                last, said = watts, time
    return "\n".join([rows[0], *sorted(rows[1:], key=lambda row: row.split(",")[1])]) + "\n"


def _meter(plugs: pd.DataFrame) -> str:
    """Write the unit's energy as a meter shows it: a register that goes up, every minute, to a watt-hour."""
    energy = (plugs["AC (W)"] * 5 / 3.6e6).cumsum() + 412.345
    minutes = energy[energy.index.second == 0]
    return "time,AC energy (kWh)\n" + "".join(
        f"{time.tz_convert('UTC'):%Y-%m-%dT%H:%M:%SZ},{kwh:.3f}\n" for time, kwh in minutes.items()
    )
