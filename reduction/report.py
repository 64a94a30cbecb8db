"""The result as a table a person reads in a terminal: figures rounded to their uncertainty, reasons beside them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from textwrap import fill

from reduction.ground.constants import BTU_PER_H_PER_W
from reduction.ground.rounding import rounded, signed, with_unit
from reduction.room.envelope import total_ua
from reduction.session import Finding, Level, Point, Result, RoomFit, SeasonFigure, Severity

WIDTH = 110
BUDGET_LINES = 8
LEAST_SHARE = 0.005
WORTH_SAYING_R = 0.5
MARKS = {Severity.NOTE: "note", Severity.WARNING: "warning", Severity.SEVERE: "SEVERE"}


def report(result: Result) -> str:
    """Lay out a result: points, terms and budgets, cross-checks, verdicts, findings, digests.

    Every figure carries its unit and, if measured, its 95 % uncertainty, both cut to the digits that are known.
    """
    blocks = [_head(result), *(_point(point) for point in result.points), _levels(result.levels)]
    blocks += [_room(result.room_fit)] if result.room_fit else []
    blocks += [season_lines(figure) for figure in result.seasonal]
    blocks += [_findings("Findings about the session", result.findings), _digests(result)]
    return "\n\n".join(block for block in blocks if block) + "\n"


def _head(result: Result) -> str:
    usable = sum(point.usable for point in result.points)
    lines = [f"{result.session_name}   method {result.method_version}"]
    if result.synthetic:
        lines.append("Synthetic data: made by a generator, not measured.")
    lines.append(f"{len(result.points)} points, {usable} usable. ± is 95 % (k in each budget).")
    return "\n".join(lines)


def _point(point: Point) -> str:
    w, btu = point.capacity_w, BTU_PER_H_PER_W
    title = f"{point.label}   {point.start:%Y-%m-%d %H:%M} to {point.end:%Y-%m-%d %H:%M} UTC"
    lines = [title, "-" * len(title)]
    if not point.usable:
        lines.append("NOT USABLE; the figures below show why and are no result.")
    lines += _table(
        [
            (
                f"Cooling capacity ({point.capacity_kind})",
                f"{with_unit(w, point.capacity_u95_w, 'W')} = "
                f"{with_unit(w * btu, point.capacity_u95_w * btu, 'Btu/h')}",
            ),
            *_optional(point),
            *((_condition_title(name), f"{rounded(m.value, 2 * m.u)}") for name, m in point.conditions.items()),
            ("What limited it", f"{point.limit.verdict}. {point.limit.because}"),
        ]
    )
    lines += ["", "Heat balance (W, positive adds to the capacity)"]
    lines += _table(
        (term.name, f"{signed(term.value_w, '+9.1f')}   u {term.u_w:6.1f}   {term.how}") for term in point.terms
    )
    lines += ["", f"Uncertainty budget (k = {point.k:.2f}, from {point.interval_from}), largest first"]
    lines += _table(_budget(point))
    lines += _judgements(point)
    found = _findings("Findings", point.findings)
    return "\n".join([*lines, "", found] if found else lines)


def _optional(point: Point) -> Iterator[tuple[str, str]]:
    if point.latent_w is not None and point.latent_u95_w is not None:
        yield "  of it latent", with_unit(point.latent_w, point.latent_u95_w, "W")
    if point.shr is not None:
        yield "Sensible heat ratio", f"{point.shr:.2f}"
    if point.cop is None:
        yield "Efficiency", "not known: no usable power of the unit"
        return
    yield "Power of the unit", with_unit(point.power_w, point.power_u95_w, "W")
    if point.limit.verdict == "unit off":
        return
    yield "COP (this condition)", with_unit(point.cop, point.cop_u95, "W/W")
    if point.eer_btu_per_wh is not None:
        yield "EER (this condition)", with_unit(point.eer_btu_per_wh, point.eer_u95, "Btu/(W·h)")


def _condition_title(name: str) -> str:
    stem, _, quantity_unit = name.rpartition("_")
    symbol = {"c": "°C", "percent": "%"}.get(quantity_unit, quantity_unit)
    return f"{stem.replace('_', ' ').capitalize().replace(' rh', ' humidity')} ({symbol})"


def _budget(point: Point) -> Iterator[tuple[str, str]]:
    shown = [line for line in point.budget if line.share >= LEAST_SHARE][:BUDGET_LINES]
    for line in shown:
        source = line.source.split(". ")[0]  # the rest stands beside its term
        yield line.name, f"{signed(line.contribution_w, '+8.1f')} W   {line.share:6.1%}   {source}"
    rest = 1.0 - sum(line.share for line in shown)
    if len(point.budget) > len(shown):
        yield f"{len(point.budget) - len(shown)} smaller ones", f"{'':11}  {rest:6.1%}"


def _judgements(point: Point) -> Iterator[str]:
    if point.cross_checks:
        yield from ("", "Cross-checks")
    for check in point.cross_checks:
        word = {True: "agrees", False: "FAILS", None: "for comparison"}[check.passed]
        quantity_unit = check.quantity_unit.removeprefix("1")  # a ratio has none
        value = "not known" if check.value is None else with_unit(check.value, check.u95, quantity_unit)
        yield from _wrapped(f"  {check.name}: {value} (expected: {check.expected}; {word}). {check.because}")
    if point.ratings or point.verdicts or point.shortfall:
        yield from ("", "Beside the claim")
    for rating in point.ratings:
        yield from _wrapped(
            f"  At {rating.condition}: {with_unit(rating.capacity_w, rating.capacity_u95_w, 'W')}, EER "
            f"{with_unit(rating.eer_btu_per_wh, rating.eer_u95, 'Btu/(W·h)')}. {rating.how}"
        )
    for step in point.shortfall:
        yield from _wrapped(f"  {signed(step.value_w, '+7.0f')} W  {step.name} ({step.kind}). {step.because}", hang=13)
    for verdict in point.verdicts:
        yield from _wrapped(f"  {verdict.claim}: {verdict.words}. {verdict.because}")
    for rule in dict.fromkeys(verdict.rule for verdict in point.verdicts if verdict.rule):
        yield from _wrapped(f"  Decision rule: {rule}.")


def _levels(levels: Iterable[Level]) -> str:
    rows = [(level.label, f"{level.share_of_time:.0%} of the time") for level in levels]
    return "\n".join(["Levels of the unit's power", *_table(rows)]) if rows else ""


def _room(fit: RoomFit) -> str:
    """Lay out the room that a characterisation session shows, in the words and units a session states it in."""
    rows = [
        (f"UA to {surface.to}", f"{with_unit(surface.ua_w_per_k, surface.u95_w_per_k, 'W/K')}")
        for surface in fit.surfaces
    ]
    if len(fit.surfaces) > 1:
        rows.append(("UA of all surfaces", with_unit(*total_ua(fit.surfaces), "W/K")))
    rows.append(("Heat capacity with the air", with_unit(fit.c_eff_j_per_k / 1e3, fit.c_eff_u95_j_per_k / 1e3, "kJ/K")))
    if mass := fit.slow_mass:
        behind = with_unit(mass.conductance_w_per_k, mass.conductance_u95_w_per_k, "W/K")
        rows.append(("Slow mass", with_unit(mass.capacity_j_per_k / 1e3, mass.capacity_u95_j_per_k / 1e3, "kJ/K")))
        rows.append(("  behind", behind))
    rows.append(("Time constants", ", ".join(f"{hours:.2g} h" for hours in fit.time_constants_h)))
    rows.append(("Residual", f"{fit.residual_rms_c:.3f} K; {fit.residual_whiteness}"))
    rows += _told_together(fit)
    rows.append(("Told by this run", "yes" if fit.identifiable else "NO, see below"))
    return "\n".join(["The room, from this session", *_table(rows), *_wrapped(f"  {fit.because}", hang=2)])


def _told_together(fit: RoomFit) -> Iterator[tuple[str, str]]:
    """Pairs of parameters that the run tells together more than apart."""
    for i, (name, row) in enumerate(zip(fit.parameter_names, fit.correlation, strict=False)):
        for other, r in zip(fit.parameter_names[:i], row, strict=False):
            if abs(r) >= WORTH_SAYING_R:
                yield "Told together", f"{other} and {name}, correlation {signed(r, '+.2f')}"


def season_lines(figure: SeasonFigure) -> str:
    """Lay out a seasonal figure with each input, measured or bounded."""
    rows = [
        (f"  {each.name}", f"{with_unit(each.value, 2 * each.u, each.quantity_unit.removeprefix('1'))}  {each.because}")
        for each in figure.inputs
    ]
    return "\n".join(
        [f"{figure.name} {with_unit(figure.value, figure.u95, figure.quantity_unit)}", figure.because, *_table(rows)]
    )


def _findings(title: str, findings: Iterable[Finding]) -> str:
    order = list(Severity)[::-1]
    rows = sorted(findings, key=lambda f: order.index(f.severity))
    lines = [line for f in rows for line in _wrapped(f"  {MARKS[f.severity]}: {f.sentence} {f.remedy}".rstrip())]
    return "\n".join([title, *lines]) if lines else ""


def _digests(result: Result) -> str:
    rows = [(file.path, f"SHA-256 {file.sha256}, {file.bytes:,} bytes") for file in result.files]
    return "\n".join(["Made from", *_table([*rows, ("session", f"SHA-256 {result.session_sha256}")])])


def _table(rows: Iterable[tuple[str, str]]) -> list[str]:
    found = list(rows)
    width = min(44, max((len(name) for name, _ in found), default=0))
    lines: list[str] = []
    for name, text in found:
        lines += _wrapped(f"  {name:{width}}  {text}", hang=width + 4)
    return lines


def _wrapped(text: str, hang: int = 6) -> list[str]:
    return fill(text, WIDTH, subsequent_indent=" " * hang, drop_whitespace=True, break_long_words=False).splitlines()
