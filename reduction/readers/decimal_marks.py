"""Whether a point or a comma marks the decimals of a file, and by what evidence."""

from __future__ import annotations

import re
from collections.abc import Sequence

from reduction.session import Profile

GROUPED_POINT = re.compile(r"[+\-]?[1-9]\d{0,2}(?:\.\d{3})+")


def decimal_mark(rows: Sequence[Sequence[str]], delimiter: str, profile: Profile) -> tuple[str, str]:
    """Return the decimal mark and the evidence for it; no evidence where a point may group thousands."""
    if profile.decimal:
        return profile.decimal, "as stated"
    if delimiter == ",":
        quoted = [c for r in rows for c in r if re.fullmatch(r"\s*[+\-]?\d+,\d+\s*", c)]
        plain = quoted and [c for r in rows for c in r if re.fullmatch(r"\s*[+\-]?\d+\.\d+\s*", c)]
        if quoted and not plain and not all(re.fullmatch(r"\s*[+\-]?[1-9]\d{0,2},\d{3}\s*", c) for c in quoted):
            return ",", f"quoted numbers such as {quoted[0].strip()}"
        return ".", "fields are split by comma"
    number = r"[+\-]?\d[\d.'\s]*,\d+(?:\s*[^\d\s,;.][^\d]*)?"
    comma = [c for r in rows for c in r if re.fullmatch(number, c.strip()) and not re.search(r"[:/]", c)]
    dot = [c for r in rows for c in r if re.fullmatch(r"[+\-]?\d[\d,'\s]*\.\d+(?:\s*[^\d\s,;.][^\d]*)?", c.strip())]
    telling = [c for c in dot if not GROUPED_POINT.fullmatch(c.strip())]
    if comma and not telling:
        return ",", f"numbers such as {comma[0].strip()}"
    if telling:
        return ".", f"numbers such as {telling[0].strip()}"
    return ".", "" if dot else "no number has a decimal mark"
