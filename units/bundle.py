"""The browser's chart library as a static file, made on this machine from the one that draws the server's charts."""

from __future__ import annotations

from importlib.metadata import version
from pathlib import Path

import vl_convert
from django.conf import settings
from django.contrib.staticfiles.finders import BaseFinder
from django.core.files.storage import FileSystemStorage

from tests_app.whole_files import written_whole

NAME = "units/charts-bundle.js"


def built() -> Path:
    """Return the folder that holds the library, building it once for each version of its source."""
    folder = Path(settings.DATA_DIR) / "built" / version("vl-convert-python")
    made = folder / NAME
    if not made.exists():
        made.parent.mkdir(parents=True, exist_ok=True)
        with written_whole(made) as half:  # also where two processes build at once
            half.write(vl_convert.javascript_bundle("window.vegaEmbed=vegaEmbed;").encode())
    return folder


class BundleFinder(BaseFinder):
    """Lets static files find the library: when it is served in development and when files are collected."""

    def check(self, **kwargs: object) -> list[object]:
        """Nothing can be set wrongly."""
        return []

    def find(self, path: str, find_all: bool = False, **kwargs: object) -> str | list[str]:
        """Return the file's place for its own name only."""
        if path != NAME:
            return []
        place = str(built() / NAME)
        return [place] if find_all or kwargs.get("all") else place

    def list(self, ignore_patterns: object) -> object:
        """Yield the one file there is."""
        yield NAME, FileSystemStorage(location=built())
