"""The method read aloud: from a session document and its files to a result."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

from reduction.align.channels import series_of
from reduction.align.intake import read_files, session_digest
from reduction.align.timeline import Timeline, align, look_up_means
from reduction.balance.heat_balance import heat_balance
from reduction.examine.examination import examine
from reduction.judge.claims import claimed_figures
from reduction.judge.diagnosis import diagnose
from reduction.judge.duct_facts import ducts_findings
from reduction.judge.limits import off_below_w
from reduction.judge.point import Reduced, point_of, reduce_balance
from reduction.judge.sanity import absurd_claims, impossibilities, was_off, with_failed_checks
from reduction.method import METHOD_VERSION
from reduction.room.characterise import room_found
from reduction.room.slow_mass import slow_mass_release
from reduction.season.unit_season import seasonal_figures
from reduction.session import FileDigest, Finding, Point, Result, RoomFit, Session, Severity, WindowResult
from reduction.uncertainty.montecarlo import Draws
from reduction.uncertainty.propagation import shared_covariance
from reduction.windows.plateaus import levels
from reduction.windows.span import span_of
from reduction.windows.steady import judge_window, steady_windows, window_findings

Progress = Callable[[str, float], None]


def reduce_session(session: Session, *, base: Path, progress: Progress | None = None) -> Result:
    """Reduce one session: read, align, choose windows, balance, propagate, judge.

    Parameters
    ----------
    session
        The document.
    base
        Folder that the paths of its files are relative to.
    progress
        Told the stage and the part done, 0…1.

    Returns
    -------
    Result
        Points in the order of their windows; where nothing is usable, findings that say why.

    Raises
    ------
    ReductionError
        If a file or the document cannot be used at all.
    """
    tell = progress or (lambda stage, part: None)
    tell("reading the files", 0.0)
    logs = read_files(session, base)
    tell("aligning the channels", 0.4)
    series, channels, read = series_of(session, logs)
    examined = examine(series)
    timeline = align(examined.series, session.settings, examined.left_out)
    tell("looking for steady windows", 0.5)
    windows = choose_windows(timeline, session)
    tell("drawing up the balance", 0.6)
    points, covariance = reduce_windows(timeline, session, windows)
    tell("judging the points", 0.9)
    points = tuple(with_failed_checks(point) for point in diagnose(points, timeline, session))
    room, about = room_found(timeline, session)
    tell("done", 1.0)
    return Result(
        method_version=METHOD_VERSION,
        session_name=session.name,
        synthetic=session.synthetic,
        session_sha256=session_digest(session),
        files=tuple(FileDigest(path=log.path, sha256=log.sha256, bytes=log.size_bytes) for log in logs),
        channels=channels,
        points=points,
        capacity_covariance_w2=covariance,
        levels=levels(timeline),
        room_fit=room,
        seasonal=seasonal_figures(points, session.unit.kind, session.unit.compressor),
        findings=(*_of_facts(session, points), *read, *examined.findings, *about, *_nothing(windows, points, room)),
    )


def choose_windows(timeline: Timeline, session: Session) -> tuple[WindowResult, ...]:
    """The session's own windows, judged and named apart; without any, the steady ones that the program proposes."""
    if not session.windows:
        return steady_windows(timeline, session=session)
    taken: set[str] = set()
    windows = []
    for number, window in enumerate(session.windows, start=1):
        label = window.label or f"window {number}"
        label = f"{label} ({number})" if label in taken else label
        taken.add(label)
        windows.append(judge_window(timeline, window.model_copy(update={"label": label}), session=session))
    return tuple(windows)


def reduce_windows(
    timeline: Timeline, session: Session, windows: Sequence[WindowResult]
) -> tuple[tuple[Point, ...], tuple[tuple[float, ...], ...]]:
    """Points of the windows that hold data, and the covariance of their capacities. [W²]"""
    inside = [window for window in windows if _holds_data(timeline, window)]
    spans = [span_of(timeline, w.label, w.start.timestamp(), w.end.timestamp()) for w in inside]
    for series in timeline.series.values():
        look_up_means(series, [(span.start_s, span.end_s) for span in spans])
    releases = slow_mass_release(timeline, session, [(span.start_s, span.end_s) for span in spans])
    balances = [heat_balance(timeline, session, span, slow) for span, slow in zip(spans, releases, strict=True)]
    draws = Draws(session.settings.monte_carlo_draws, session.settings.seed)
    reduced = [reduce_balance(balance, session.settings, draws) for balance in balances]
    points = tuple(_point(timeline, session, window, each) for window, each in zip(inside, reduced, strict=True))
    covariance = shared_covariance([each.result for each in reduced])
    return points, tuple(tuple(float(value) for value in row) for row in covariance)


def _point(timeline: Timeline, session: Session, window: WindowResult, reduced: Reduced) -> Point:
    point = point_of(reduced, window, window_findings(timeline, window, session))
    off_w = off_below_w(claimed_figures(session.unit))
    wrong = impossibilities(point, off_w)
    bad = was_off(point, off_w) or any(finding.severity is Severity.SEVERE for finding in wrong)
    return point.model_copy(update={"findings": (*point.findings, *wrong), "usable": point.usable and not bad})


def _holds_data(timeline: Timeline, window: WindowResult) -> bool:
    return window.start.timestamp() < timeline.end_s and window.end.timestamp() > timeline.start_s


def _of_facts(session: Session, points: Sequence[Point]) -> tuple[Finding, ...]:
    """Say what of the stated facts cannot be, and what a portable's season still lacks."""
    return (*absurd_claims(session.unit), *ducts_findings(session.unit, points))


def _nothing(windows: Sequence[WindowResult], points: Sequence[Point], room_fit: RoomFit | None) -> tuple[Finding, ...]:
    """Say why there is no point, where there is none and none but the room was asked for."""
    if not windows and room_fit is not None:
        return ()
    if not windows:
        return (
            Finding(
                code="no_steady_window",
                severity=Severity.SEVERE,
                sentence="No window is steady by the limits and none was given, so there is nothing to average.",
                remedy="Look at the channels, choose a window by hand and state why it may be used.",
            ),
        )
    outside = [w for w in windows if w.label not in {p.label for p in points}]
    return tuple(
        Finding(
            code="window_outside_data",
            severity=Severity.SEVERE,
            sentence=f"The window {window.label} from {_utc(window.start)} to {_utc(window.end)} UTC lies outside "
            "the logged data.",
            subject=window.label,
            remedy="Correct the window, or the time zone or clock of the files.",
        )
        for window in outside
    )


def _utc(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M}"
