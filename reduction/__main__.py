"""The command line: `python -m reduction reduce | check | plan | season | schema`.

Exit codes: 0 done, 1 reduced with nothing usable (the findings say why), 2 bad input (one sentence on stderr).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

from reduction.documents.words import Document
from reduction.errors import ReductionError
from reduction.loading import load_session
from reduction.planning.plan import plan_test
from reduction.planning.plan_loading import load_plan_request
from reduction.planning.plan_report import plan_report
from reduction.planning.plan_request import PlanRequest
from reduction.readers import describe, read_logs
from reduction.report import report
from reduction.run import reduce_session
from reduction.season.season_report import load_result, season_of_result, season_report
from reduction.session import Profile, Result, Session, UnitKind

SCHEMAS: dict[str, type[Document]] = {"session": Session, "result": Result, "plan": PlanRequest}
NOTHING_USABLE = 1
BAD_INPUT = 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one subcommand and return its exit code."""
    options = _parser().parse_args(arguments)
    try:
        code: int = options.run(options)
    except ReductionError as error:
        sys.stderr.write(f"{error}\n")
        return BAD_INPUT
    except OSError as error:
        sys.stderr.write(
            f"{error.filename or 'file'}: {error.strerror or error}. Check the path and its permissions.\n"
        )
        return BAD_INPUT
    return code


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m reduction", description=__doc__.splitlines()[0] if __doc__ else "")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    reduce_ = commands.add_parser("reduce", help="reduce a session: points with ±, budgets, findings")
    reduce_.add_argument(
        "session", type=Path, metavar="SESSION.json", help="the session document; its files lie beside it"
    )
    reduce_.add_argument("--json", metavar="FILE", help="write the full result as JSON to FILE, or to stdout with -")
    reduce_.set_defaults(run=_reduce)
    check = commands.add_parser("check", help="say what is read from log files: columns, units, roles, clock, faults")
    check.add_argument("files", type=Path, nargs="+", metavar="FILE")
    check.add_argument("--time-zone", default="UTC", metavar="ZONE", help="of stamps that carry none (IANA name)")
    check.set_defaults(run=_check)
    plan = commands.add_parser("plan", help="plan a test: heaters, circuits, hours, expected ±, cautions")
    plan.add_argument("request", type=Path, metavar="PLAN.json", help="unit, room, targets, circuits, equipment")
    plan.add_argument("--json", action="store_true", help="print the plan as JSON")
    plan.set_defaults(run=_plan)
    _season_parser(commands)
    schema = commands.add_parser("schema", help="print the JSON Schema of the session document, result or plan")
    schema.add_argument("of", nargs="?", choices=tuple(SCHEMAS), help="default: all, by name")
    schema.set_defaults(run=_schema)
    return parser


def _season_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    season = commands.add_parser("season", help="a season in your own climate from a result: efficiency and cost")
    season.add_argument("result", type=Path, metavar="RESULT.json", help="as `reduce --json` writes it")
    season.add_argument("--climate", type=Path, required=True, metavar="FILE", help="EPW, TMY or a table of bins")
    season.add_argument("--kind", type=UnitKind, choices=list(UnitKind), default=UnitKind.WINDOW)
    season.add_argument("--price", type=float, required=True, metavar="PER_KWH", help="of electricity")
    season.add_argument("--load-w", type=float, default=2000.0, help="of the room at the warm end of its load line")
    season.add_argument("--load-from-c", type=float, default=20.0, help="outdoor temperature without load")
    season.add_argument("--load-full-c", type=float, default=35.0, help="outdoor temperature of the full load")
    season.add_argument("--wet-bulb-c", type=float, default=19.0, help="of the room")
    season.add_argument("--standby-hours", type=float, default=0.0)
    season.set_defaults(run=_season)


def _season(options: argparse.Namespace) -> int:
    result = load_result(options.result)
    own = season_of_result(
        result,
        options.climate.read_text(encoding="utf-8-sig"),
        str(options.climate),
        kind=options.kind,
        price_per_kwh=options.price,
        full_load_w=options.load_w,
        no_load_c=options.load_from_c,
        full_load_c=options.load_full_c,
        room_wet_bulb_c=options.wet_bulb_c,
        standby_hours=options.standby_hours,
    )
    sys.stdout.write(season_report(own, result.seasonal))
    return 0


def _reduce(options: argparse.Namespace) -> int:
    session = load_session(options.session)
    result = reduce_session(session, base=options.session.parent)
    if options.json == "-":
        sys.stdout.write(result.model_dump_json(indent=2) + "\n")
    else:
        sys.stdout.write(report(result))
    if options.json and options.json != "-":
        Path(options.json).write_text(result.model_dump_json(indent=2) + "\n", encoding="utf-8")
    return 0 if result.room_fit is not None or any(point.usable for point in result.points) else NOTHING_USABLE


def _check(options: argparse.Namespace) -> int:
    code = 0
    for path in options.files:
        try:
            logs = read_logs(path, profile=Profile(), time_zone=options.time_zone)
        except ReductionError as error:
            sys.stderr.write(f"{error}\n")
            code = BAD_INPUT
            continue
        for log in logs:
            sys.stdout.write(describe(log) + "\n")
    return code


def _plan(options: argparse.Namespace) -> int:
    plan = plan_test(load_plan_request(options.request))
    sys.stdout.write(plan.model_dump_json(indent=2) + "\n" if options.json else plan_report(plan))
    return 0


def _schema(options: argparse.Namespace) -> int:
    schemas = {name: document.model_json_schema() for name, document in SCHEMAS.items()}
    wanted = schemas[options.of] if options.of else schemas
    sys.stdout.write(json.dumps(wanted, indent=2, ensure_ascii=False) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
