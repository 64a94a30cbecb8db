"""A session's channels on one clock, kept as a Parquet file so that pages draw without reading logs again."""

from __future__ import annotations

import hashlib
import io
import json
from collections import Counter

import pandas as pd
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from reduction import session as doc
from reduction.align.channels import series_of
from reduction.align.intake import read_files
from reduction.align.timeline import Timeline, align
from reduction.examine.examination import examine
from tests_app import evidence_store, session_document
from tests_app.actions.questions import require_answers
from tests_app.models import Session

MATTERS = {"files", "channels", "instruments", "settings", "time_zone"}


def timeline_of(session: Session, document: doc.Session) -> Timeline:
    """Read the session's logs as its document says and lay them on one clock, as a reduction does."""
    require_answers(session=session)
    with evidence_store.folder_of(session.files.select_related("evidence")) as folder:
        logs = read_files(document, folder)
    series, _, _ = series_of(document, logs)
    examined = examine(series)
    return align(examined.series, document.settings, examined.left_out)


def frame_of(session: Session) -> pd.DataFrame:
    """Return the aligned means, one column a channel and the time in UTC as index; kept by what they depend on."""
    document = session_document.to_document(session)
    name = stored_name(document)
    if default_storage.exists(name):
        with default_storage.open(name) as stored:
            return pd.read_parquet(io.BytesIO(stored.read()))
    return keep(document, timeline_of(session, document))


def keep(document: doc.Session, timeline: Timeline) -> pd.DataFrame:
    """Store the aligned means under a name that no other channels, clocks or files can have."""
    frame = to_frame(timeline)
    name = stored_name(document)
    if not default_storage.exists(name):
        default_storage.save(name, ContentFile(frame.to_parquet()))
    return frame


def stored_name(document: doc.Session) -> str:
    """Return the name of the aligned file: a digest of the parts of the document that it depends on."""
    parts = document.model_dump(mode="json", include=MATTERS)
    digest = hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()
    return f"aligned/{digest[:2]}/{digest}.parquet"


def to_frame(timeline: Timeline) -> pd.DataFrame:
    """Return the grid's means as a table; a column is `role|channel`, with its file where two are called alike."""
    index = pd.to_datetime(timeline.grid_s, unit="s", utc=True)
    often = Counter(series.column for series in timeline.series.values())
    columns = {
        f"{series.role}|{series.column if often[series.column] == 1 else f'{series.column} ({series.file})'}": cells
        for series, cells in ((series, timeline.cells[key]) for key, series in timeline.series.items())
    }
    return pd.DataFrame(columns, index=index)
