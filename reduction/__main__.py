"""The command line: `python -m reduction reduce | check | schema`.

Exit codes: 0 done, 1 reduced with nothing usable (the findings say why), 2 bad input (one sentence on stderr).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

from reduction.loading import load_session
from reduction.errors import ReductionError
from reduction.readers import describe, read_logs
from reduction.report import report
from reduction.run import reduce_session
from reduction.session import Profile, Result, Session

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
    schema = commands.add_parser("schema", help="print the JSON Schema of the session document or of the result")
    schema.add_argument("of", nargs="?", choices=("session", "result"), help="default: both, by name")
    schema.set_defaults(run=_schema)
    return parser


def _reduce(options: argparse.Namespace) -> int:
    session = load_session(options.session)
    result = reduce_session(session, base=options.session.parent)
    if options.json == "-":
        sys.stdout.write(result.model_dump_json(indent=2) + "\n")
    else:
        sys.stdout.write(report(result))
    if options.json and options.json != "-":
        Path(options.json).write_text(result.model_dump_json(indent=2) + "\n", encoding="utf-8")
    return 0 if any(point.usable for point in result.points) else NOTHING_USABLE


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


def _schema(options: argparse.Namespace) -> int:
    schemas = {"session": Session.model_json_schema(), "result": Result.model_json_schema()}
    wanted = schemas[options.of] if options.of else schemas
    sys.stdout.write(json.dumps(wanted, indent=2, ensure_ascii=False) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
