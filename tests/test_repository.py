"""The literal repository: its layout, its sizes, its documents."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

from tests import tree

ROOT = tree.ROOT
FILES = tree.tracked_files()
MODULES = [name for name in FILES if name.endswith(".py") and "/migrations/" not in name]
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "LICENSE", "manage.py", "pyproject.toml"}
TOP_LEVEL |= {"units", "tests_app", "reduction", "tests", "fixtures", "docker"}
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
LONGEST_FILE, LONGEST_FUNCTION = 300, 30


def parsed(name: str) -> ast.Module:
    return ast.parse((ROOT / name).read_text(encoding="utf-8"))


def shell_blocks() -> list[str]:
    return re.findall(r"^```sh\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)


def imported_by(name: str) -> set[str]:
    """Return the top-level names that a module imports."""
    nodes = list(ast.walk(parsed(name)))
    plain = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    return {full.split(".")[0] for full in plain | {n.module or "" for n in nodes if isinstance(n, ast.ImportFrom)}}


def test_nothing_else_stands_at_the_top() -> None:
    tops = {name.split("/")[0] for name in FILES}
    assert {top for top in tops if not top.startswith(".")} <= TOP_LEVEL


def test_no_file_is_long() -> None:
    lengths = {name: (ROOT / name).read_text(encoding="utf-8").count("\n") for name in MODULES}
    assert {name: lines for name, lines in lengths.items() if lines > LONGEST_FILE} == {}


def lines_without_docstring(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    first = function.body[0]
    has_docstring = ast.get_docstring(function, clean=False) is not None
    docstring = (first.end_lineno or 0) - first.lineno + 1 if has_docstring else 0
    return (function.end_lineno or 0) - function.lineno + 1 - docstring


def test_no_function_is_long() -> None:
    functions = {
        f"{name}:{node.lineno} {node.name}": lines_without_docstring(node)
        for name in MODULES
        for node in ast.walk(parsed(name))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    }
    assert {where: lines for where, lines in functions.items() if lines > LONGEST_FUNCTION} == {}


def test_views_fetch_through_access_only() -> None:
    views = [name for name in MODULES if re.match(r"(units|tests_app)/(views|api)/", name)]
    touching = [name for name in views if ".objects" in (ROOT / name).read_text(encoding="utf-8")]
    assert views
    assert touching == []


def test_there_is_no_admin_site() -> None:
    assert [name for name in MODULES if name.endswith("admin.py")] == []


def test_actions_are_keyword_only_and_say_by_whom() -> None:
    actions = [name for name in MODULES if re.match(r"(units|tests_app)/actions/", name)]
    positional = [
        f"{name}:{node.name}"
        for name in actions
        for node in parsed(name).body
        if isinstance(node, ast.FunctionDef)
        and not node.name.startswith("_")
        and any(argument.arg == "by" for argument in node.args.args)
    ]
    assert positional == []


TEXT_FILES = {".py", ".md", ".toml", ".html", ".css", ".js", ".csv", ".txt", ".yaml", ".json", ""}
LEFT_OVER = [
    r"tran" r"script",
    r"/wor" r"k/",
    r"\.libr" r"ary/",
    r"shar" r"ed/(design|method|style|needs|published|practice)",
    r"\b(chat" r"gpt|cla" r"ude|language mo" r"del)\b",
    r"\bTO" r"DO\b|\bFIX" r"ME\b",
]


def test_nothing_is_left_over_from_how_this_was_made() -> None:
    pattern = re.compile("|".join(LEFT_OVER), re.IGNORECASE)
    readable = [name for name in FILES if Path(name).suffix in TEXT_FILES]
    texts = {name: (ROOT / name).read_text(encoding="utf-8", errors="replace") for name in readable}
    found = {name: match.group() for name, text in texts.items() if (match := pattern.search(text))}
    assert found == {}


def test_each_dependency_says_why_it_is_here() -> None:
    lines = (ROOT / "pyproject.toml").read_text(encoding="utf-8").splitlines()
    project = tomllib.loads("\n".join(lines))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["tests"]]
    unexplained = [
        one for one in wanted if not any(re.match(rf'\s*"{re.escape(one)}",\s+# \S', line) for line in lines)
    ]
    assert unexplained == []


def test_the_readme_opens_with_the_job_and_two_commands() -> None:
    start, check = shell_blocks()[:2]
    assert [block.count("\n") for block in (start, check)] == [1, 1]
    assert start.rstrip().endswith("manage.py demo")
    assert check.rstrip().endswith("-m pytest")
    assert README.index(start) < README.index(check)


def test_the_build_machine_runs_the_readmes_test_command() -> None:
    shown = subprocess.run([ROOT / ".ci" / "run", "--show"], capture_output=True, text=True, check=True).stdout
    assert shown == shell_blocks()[1]


def test_every_subcommand_is_in_the_readme_and_has_help() -> None:
    command = [sys.executable, "-m", "reduction", "--help"]
    shown = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
    helped = dict(re.findall(r"^ {4}([a-z]+) +(\S.*)$", shown, flags=re.MULTILINE))
    assert helped.keys() >= {"reduce", "check", "schema"}
    assert [name for name in helped if f"-m reduction {name}" not in README] == []


def test_the_tree_in_the_developers_document_is_the_tree() -> None:
    assert tree.written() == tree.draw(), "run python -m tests.tree"


def test_every_entry_of_the_tree_says_what_it_is() -> None:
    silent = [line for line in tree.draw().splitlines() if len(line.split()) == 1]
    assert silent == []


def test_the_demos_generator_knows_nothing_of_the_reduction() -> None:
    made_by = [name for name in MODULES if name.startswith("fixtures/demo/")]
    allowed = sys.stdlib_module_names | {"numpy", "fixtures"}
    assert made_by
    assert {name: imported_by(name) - allowed for name in made_by if imported_by(name) - allowed} == {}


def number_fields() -> dict[str, str]:
    """Return every field of the session document, the result and the database that holds a number."""
    fields = {}
    for name in [
        "reduction/documents/stated.py",
        "reduction/documents/result.py",
        *(name for name in MODULES if "/models/" in name),
    ]:
        for outer in ast.walk(parsed(name)):
            for node in outer.body if isinstance(outer, ast.ClassDef) else []:
                if isinstance(node, ast.AnnAssign) and re.search(
                    r"float|Positive|NonNeg", ast.unparse(node.annotation)
                ):
                    fields[f"{name}: {outer.name}.{ast.unparse(node.target)}"] = ast.unparse(node.target)
                if isinstance(node, ast.Assign) and "FloatField" in ast.unparse(node.value):
                    fields[f"{name}: {outer.name}.{ast.unparse(node.targets[0])}"] = ast.unparse(node.targets[0])
    return fields


def glossary() -> list[str]:
    words = DEVELOPERS.split("## Words", 1)[1].split("## Tree", 1)[0]
    first_cells = [line.split("|")[1] for line in words.splitlines() if line.startswith("| `")]
    return re.findall(r"`([^`]+)`", "\n".join(first_cells))


def test_the_name_of_every_number_ends_in_a_word_of_the_glossary() -> None:
    fields, words = number_fields(), glossary()
    endings = tuple(word for word in words if word.startswith("_"))
    assert len(fields) > 100
    assert {place for place, name in fields.items() if name not in words and not name.endswith(endings)} == set()
