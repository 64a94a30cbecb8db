"""From a replica's logs and its tester's knowledge to what the reduction is given, without any file."""

from __future__ import annotations

from datetime import UTC, datetime

from fixtures.replicas.loggers import Logged, Replica
from reduction.align.timeline import Series, Timeline, align
from reduction.session import (
    FixedLoad,
    HeaterKind,
    Instrument,
    LogFile,
    Moisture,
    Role,
    Room,
    SampleKind,
    Session,
    Settings,
    Surface,
    UnitKind,
    UnitUnderTest,
    Weighing,
    Window,
)


def _instrument(log: Logged) -> Instrument:
    spec = log.spec
    return Instrument(
        id=log.name,
        quantity=spec.quantity,
        offset_limit=spec.offset,
        gain_limit=spec.gain,
        resolution=spec.resolution,
        noise=spec.noise,
        time_constant_s=spec.lag_s,
    )


def _series(log: Logged) -> Series:
    return Series(
        key=f"log.csv|{log.name}",
        file="log.csv",
        column=log.name,
        role=Role(log.role),
        place=log.place,
        kind=SampleKind.INSTANT,
        time_s=log.time_s,
        values=log.values,
        instrument=_instrument(log),
        placement_u=log.placement_u,
        stale_after_s=900.0,
    )


def _utc(time_s: float) -> datetime:
    return datetime.fromtimestamp(time_s, UTC)


def _moisture(replica: Replica) -> Moisture:
    known = replica.known
    if known.condensate_kg is None or known.water_kg is None:
        return Moisture()
    span = {"start_utc": _utc(known.window_s[0]), "end_utc": _utc(known.window_s[1])}
    return Moisture(
        humidifier="ultrasonic",
        water_supply_temp_c=20.0,
        weighings=(
            Weighing(what="condensate", mass_kg=known.condensate_kg[0], u95_kg=known.condensate_kg[1], **span),
            Weighing(what="water_supply", mass_kg=known.water_kg[0], u95_kg=known.water_kg[1], **span),
        ),
    )


def _room(replica: Replica) -> Room:
    known = replica.known
    if not known.characterised:
        return Room(volume_m3=known.volume_m3)
    return Room(
        volume_m3=known.volume_m3,
        surfaces=(
            Surface(to="outdoor", ua_w_per_k=known.ua_out[0], u95_w_per_k=known.ua_out[1]),
            Surface(to="adjacent", ua_w_per_k=known.ua_adjacent[0], u95_w_per_k=known.ua_adjacent[1]),
        ),
        c_eff_j_per_k=known.fast_capacity[0],
        c_eff_u95_j_per_k=known.fast_capacity[1],
    )


def as_session(replica: Replica, monte_carlo_draws: int = 0) -> tuple[Session, Timeline]:
    """The session document and the aligned timeline of a replica."""
    known = replica.known
    settings = Settings(monte_carlo_draws=monte_carlo_draws)
    session = Session(
        name=f"replica: {replica.kind}",
        synthetic=True,
        unit=UnitUnderTest(model="Replica", kind=UnitKind.WINDOW),
        room=_room(replica),
        instruments=tuple(_instrument(log) for log in replica.logs),
        files=(LogFile(path="log.csv"),),
        fixed_loads=(FixedLoad(what="fan and loggers", power_w=known.fixed_w[0], u95_w=known.fixed_w[1]),),
        moisture=_moisture(replica),
        heater_kind=HeaterKind(known.heater_kind),
        windows=(Window(label="replica", start_utc=_utc(known.window_s[0]), end_utc=_utc(known.window_s[1])),),
        settings=settings,
    )
    return session, align(tuple(_series(log) for log in replica.logs), settings)
