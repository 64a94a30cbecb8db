"""What the image would be, made without a container engine: its files, its settings, its user, its read-only root.

Where this may be done (as root on Linux), a process runs in mounts of its own in which all but its data is read-only,
as the image's user, without a capability. Elsewhere it runs as who runs the tests, from files that nobody may write.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import stat
import subprocess
import sys
from fnmatch import fnmatch
from functools import cached_property
from pathlib import Path
from typing import Any

import yaml

ROOT = Path(__file__).resolve().parent.parent
DOCKERFILE = (ROOT / "docker" / "Dockerfile").read_text(encoding="utf-8")
MAY_MOUNT = "mount --bind / /mnt 2>/dev/null || mount -t tmpfs tmpfs /mnt"


def instructions() -> list[tuple[str, str]]:
    """Return the Dockerfile's instructions in order, lines that go on joined."""
    joined = re.sub(r"\\\n\s*", "", DOCKERFILE)
    lines = [line.split(maxsplit=1) for line in joined.splitlines() if line.strip() and not line.startswith("#")]
    return [(word, rest) for word, rest in (line for line in lines)]


def last(word: str) -> str:
    return [rest for each, rest in instructions() if each == word][-1]


def services() -> dict[str, Any]:
    return yaml.safe_load((ROOT / "docker" / "compose.yaml").read_text(encoding="utf-8"))["services"]


def left_out() -> list[str]:
    """Return the patterns of what is not sent to the build."""
    lines = (ROOT / ".dockerignore").read_text(encoding="utf-8").splitlines()
    return [line for line in lines if line and not line.startswith("#")]


def is_sent(path: Path) -> bool:
    """Say whether a file of the tree is sent to the build."""
    parts = path.relative_to(ROOT).parts
    upward = ["/".join(parts[: n + 1]) for n in range(len(parts))]
    matches = [fnmatch(one, pattern) or fnmatch(f"/{one}", f"*{pattern[2:]}" if pattern.startswith("**") else pattern)
               for one in upward for pattern in left_out()]  # fmt: skip
    return not any(matches)


class Image:
    """The image in a folder: `app` is what it holds, the rest what it may write."""

    def __init__(self, folder: Path, **stated: str) -> None:
        self.folder, self.stated = folder, stated
        self.app, self.data, self.backups, self.scratch = (folder / name for name in ("app", "data", "backups", "tmp"))
        folder.chmod(0o755)
        shutil.copytree(ROOT, self.app, ignore=lambda at, names: [n for n in names if not is_sent(Path(at, n))])
        for place in self.app.rglob("*"):
            place.chmod(0o755 if place.is_dir() else 0o644)
        self.uid, self.gid = (int(number) for number in last("USER").split(":"))
        for place in (self.data, self.backups, self.scratch):
            place.mkdir()
            if self.is_apart:
                os.chown(place, self.uid, self.gid)
        if not self.is_apart:
            for place in (self.app, *self.app.rglob("*")):
                place.chmod(place.stat().st_mode & ~(stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH))

    @cached_property
    def is_apart(self) -> bool:
        """Say whether processes can have mounts and a user of their own here."""
        if os.geteuid() != 0 or not all(shutil.which(tool) for tool in ("unshare", "setpriv")):
            return False
        tried = ["unshare", "--mount", "--propagation", "private", "sh", "-c", MAY_MOUNT]
        return subprocess.run(tried, capture_output=True, check=False).returncode == 0

    @property
    def environment(self) -> dict[str, str]:
        """Return the image's own settings and what was stated, with its folders where they are here."""
        own = dict(pair.split("=", 1) for word, rest in instructions() if word == "ENV" for pair in shlex.split(rest))
        own |= {"DATA_DIR": str(self.data), "HOME": str(self.data), "TMPDIR": str(self.scratch)}
        return own | {"PATH": f"{Path(sys.executable).parent}:/usr/bin:/bin", "LANG": "C.UTF-8"} | self.stated

    def here(self, command: list[str]) -> list[str]:
        """Return a command of the image with its folders where they are here, run as it would be there."""
        moved = [part.replace("/backups", str(self.backups)).replace("0.0.0.0", "127.0.0.1") for part in command]
        if not self.is_apart:
            return moved
        drop = ["setpriv", "--reuid", str(self.uid), "--regid", str(self.gid), "--clear-groups", "--no-new-privs",
                "--bounding-set=-all", "--inh-caps=-all"]  # fmt: skip
        script = f"{self._mounts()}\nexec {shlex.join([*drop, *moved])}"
        return ["unshare", "--mount", "--propagation", "private", "sh", "-ec", script]

    def _mounts(self) -> str:
        """Make all read-only but what is the image's to write; let its user reach the interpreter, wherever it is."""
        app, data, folder = self.app, (self.data, self.backups, self.scratch), shlex.quote(str(self.folder))
        lines = [f"mount --bind {place} {place}" for place in data]
        for number, prefix in enumerate(sorted({sys.base_prefix, sys.prefix})):
            closed = next((up for up in reversed(Path(prefix).parents) if not up.stat().st_mode & stat.S_IXOTH), None)
            if closed:
                lines += [f"mkdir -p {folder}/base{number}", f"mount --bind {prefix} {folder}/base{number}"]
                lines += [f"mount -t tmpfs -o mode=755 tmpfs {closed}", f"mkdir -p {prefix}"]
                lines += [f"mount --bind {folder}/base{number} {prefix}"]
        return "\n".join([*lines, "mount -o remount,bind,ro /", f"cd {shlex.quote(str(app))}"])

    def start(self, command: list[str], log: Any, **stated: str) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            self.here(command),
            cwd=self.app,
            env=self.environment | stated,
            stdout=log,
            stderr=log,
            start_new_session=True,
        )

    def run(self, command: list[str], **stated: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            self.here(command),
            cwd=self.app,
            env=self.environment | stated,
            capture_output=True,
            text=True,
            check=False,
        )
