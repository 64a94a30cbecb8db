"""Raw evidence for publication: a session's channels on one clock, each named by its role and by nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

from reduction import session as doc
from tests_app.actions import aligned
from tests_app.models import Reduction
from units.editions.document import digest
from units.editions.privacy import role_words

if TYPE_CHECKING:
    from typing import Any

SEPARATOR = "|"
NOT_PUBLISHED = {doc.Role.IGNORED}


def stripped(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the aligned table with public headings: the role, numbered where several channels have it.

    >>> frame = pd.DataFrame([[1.0, 2.0, 3.0]], columns=["room_temp|Attic", "room_temp|Bed", "ignored|Wi-Fi"])
    >>> list(stripped(frame).columns)
    ['room temperature 1 (°C)', 'room temperature 2 (°C)']
    """
    roles = [str(name).split(SEPARATOR, 1)[0] for name in frame.columns]
    kept = [i for i, role in enumerate(roles) if role not in NOT_PUBLISHED]
    named, seen = [], dict.fromkeys(roles, 0)
    for i in kept:
        seen[roles[i]] += 1
        several = f" {seen[roles[i]]}" if roles.count(roles[i]) > 1 else ""
        named.append(f"{role_words(roles[i])}{several}{_unit(roles[i])}")
    return frame.iloc[:, kept].set_axis(named, axis=1).rename_axis("time (UTC)")


def _unit(role: str) -> str:
    endings = {
        "_temp": "°C",
        "_wet_bulb": "°C",
        "_rh": "%",
        "_power": "W",
        "_energy": "J",
        "_mass": "kg",
        "voltage": "V",
    }
    return next((f" ({unit})" for ending, unit in endings.items() if role.endswith(ending)), "")


def published(reduction: Reduction) -> dict[str, Any]:
    """Store the stripped table of what was reduced, named by its digest, and return what the document says of it."""
    document = doc.Session.model_validate(reduction.document)
    timeline = aligned.timeline_of(reduction.session, document)
    table = stripped(aligned.to_frame(timeline))
    text = table.to_csv(float_format="%.6g", date_format="%Y-%m-%dT%H:%M:%SZ", lineterminator="\n").encode()
    name = stored_name(digest(text))
    if not default_storage.exists(name):
        default_storage.save(name, ContentFile(text))
    return {"sha256": digest(text), "bytes": len(text), "rows": len(table), "columns": list(table.columns)}


def stored_name(sha256: str) -> str:
    """Return where a published table stands."""
    return f"published/{sha256[:2]}/{sha256}.csv"
