"""The browser's chart library, built where it is missing."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from units import bundle


def test_two_processes_that_build_at_once_leave_one_whole_file(settings: Any, tmp_path: Path, monkeypatch: Any) -> None:
    settings.DATA_DIR = tmp_path
    monkeypatch.setattr(bundle.vl_convert, "javascript_bundle", lambda snippet: snippet * 10_000)
    with ThreadPoolExecutor(8) as pool:
        (folder,) = set(pool.map(lambda _: bundle.built(), range(8)))
    made = folder / bundle.NAME
    assert made.read_text(encoding="utf-8") == "window.vegaEmbed=vegaEmbed;" * 10_000
    assert [path.name for path in made.parent.iterdir()] == [made.name]
