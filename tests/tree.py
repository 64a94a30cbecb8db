"""The tree in DEVELOPERS.md, drawn from the files that git holds and the first lines of their docstrings.

    python -m tests.tree

rewrites it; a test compares.
"""

from __future__ import annotations

import ast
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
DOCUMENT = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- tree: python -m tests.tree -->\n```text\n", "```\n<!-- end of tree -->"
FOLDED = (
    "templates",
    "static",
    "migrations",
    "fixtures/archives",
    "fixtures/logs",
    "fixtures/published",
    "fixtures/independent",
    "reduction/data",
)
FOLDER_WORDS = {
    ".ci": "what a build machine runs",
    "docker": "image, several processes, PostgreSQL",
    "fixtures": "logs that are odd, published values, the demo's generator",
    "fixtures/archives": "a synthetic bench as each earlier version of the format wrote it",
    "fixtures/demo": "the invented scenario and the physical model that makes its logs",
    "fixtures/logs": "one file per oddity, each with what is expected of it",
    "fixtures/published": "published values with their source",
    "fixtures/replicas": "rooms and units drawn at random, to count how often the interval holds the truth",
    "fixtures/independent": "sessions that others simulated, with their truth",
    "reduction/data": "limits, conditions and surfaces, each with its source",
    "units/management": "commands of manage.py",
    "units/migrations": "the database, step by step",
    "units/static": "style and the little script there is",
    "units/templates": "pages",
    "tests_app/migrations": "the database, step by step",
    "tests_app/static": "script of the upload page",
    "tests_app/templates": "pages",
    "tests": "every check; one command runs them all",
    "tests/benchmarks": "how fast, with baselines beside; not timed tests",
    "tests/coverage": "how often the stated interval holds the truth",
    "tests/journeys": "a browser walks the whole way, one journey a role",
    "tests/published": "outside checks, one file a source",
    "tests/reduction": "mirrors reduction/",
    "tests/reduction/readers": "oddities, round trips, mutants, limits, other programs",
    "tests/tests_app": "mirrors tests_app/",
    "tests/units": "mirrors units/",
}
FILE_WORDS = {
    "README.md": "the job in a paragraph, two commands",
    "DEVELOPERS.md": "tree, words, rules, decisions",
    "LICENSE": "MIT",
    "pyproject.toml": "every tool's settings, each dependency with its why",
    ".pre-commit-config.yaml": "local hooks only",
    ".gitignore": "what is never kept",
    ".dockerignore": "what the image does not need",
    ".ci/run": "installs Chromium, runs the README's test command",
    "docker/Dockerfile": "the image: not root, read-only",
    "docker/compose.yaml": "web, worker, PostgreSQL",
    "docker/constraints.txt": "every package of the image, pinned with its hashes",
    "docker/README.md": "how to run it, and on several machines",
    "fixtures/demo/reviews.toml": "what the invented bench publishes",
    "fixtures/demo/scenario.toml": "bench, people, rooms, instruments, units, sessions",
}


def tracked_files() -> list[str]:
    """Return what git holds or would add, sorted."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout.splitlines()
    return sorted(name for name in set(listed) if (ROOT / name).exists())


def draw() -> str:
    """Return the tree: each folder once, each file with its own words, folded folders in one line."""
    lines: list[str] = []
    seen: set[Path] = set()
    for name in sorted(tracked_files(), key=lambda name: (name.count("/") > 0, name)):
        path = Path(name)
        folded = next((parent for parent in reversed(path.parents) if _is_folded(parent)), None)
        for folder in reversed((folded or path.parent, *(folded or path.parent).parents)):
            if folder != Path() and folder not in seen:
                seen.add(folder)
                lines.append(_line(folder, f"{folder.name}/", _folder_words(folder)))
        if folded is None and (path.name != "__init__.py"):
            lines.append(_line(path, path.name, _file_words(path)))
    return "\n".join(lines) + "\n"


def _is_folded(folder: Path) -> bool:
    return folder.as_posix() in FOLDED or folder.name in FOLDED


def _line(path: Path, name: str, words: str) -> str:
    indent = "  " * (len(path.parts) - 1)
    return f"{indent}{name:<{34 - len(indent)}} {words}".rstrip()


def _folder_words(folder: Path) -> str:
    init = ROOT / folder / "__init__.py"
    if words := FOLDER_WORDS.get(folder.as_posix()):
        return words
    if folder.parent.as_posix() == "tests/reduction":
        return f"mirrors reduction/{folder.name}/"
    return _first_line(init) if init.exists() else ""


def _file_words(path: Path) -> str:
    words = FILE_WORDS.get(path.as_posix())
    return words or (_first_line(ROOT / path) if path.suffix == ".py" else "")


def _first_line(path: Path) -> str:
    docstring = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return docstring.split("\n", 1)[0].rstrip(".")


def written() -> str:
    """Return the tree as DEVELOPERS.md has it."""
    return DOCUMENT.read_text(encoding="utf-8").split(BEGIN, 1)[1].split(END, 1)[0]


if __name__ == "__main__":
    document = DOCUMENT.read_text(encoding="utf-8")
    DOCUMENT.write_text(document.replace(BEGIN + written() + END, BEGIN + draw() + END), encoding="utf-8")
