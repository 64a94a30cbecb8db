"""What goes wrong with input, worded once: place, found, expected, remedy."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Place:
    """Where in the input: a file or document, and as far in as is known."""

    file: str
    row: int | None = None
    column: str | None = None

    def __str__(self) -> str:
        """Return `outdoor.csv, row 214, column “Temp (°F)”`."""
        parts = [self.file]
        if self.row is not None:
            parts.append(f"row {self.row}")
        if self.column is not None:
            parts.append(f"column “{self.column}”")
        return ", ".join(parts)


class ReductionError(ValueError):
    """Input that cannot be used, said in one sentence and with a way to mend it.

    Examples
    --------
    >>> print(UnreadableValue(place=Place("outdoor.csv", 214, "Temp (°F)"), found="OVR",
    ...     expected="a number", remedy="Delete the row or mark it as missing."))
    outdoor.csv, row 214, column “Temp (°F)”: found “OVR”, expected a number. Delete the row or mark it as missing.
    """

    def __init__(self, *, place: Place, found: str, expected: str, remedy: str) -> None:
        self.place = place
        self.found = found
        self.expected = expected
        self.remedy = remedy
        super().__init__(f"{place}: found “{found}”, expected {expected}. {remedy}")

    def __reduce__(self) -> tuple[object, ...]:
        """Travel between processes with all parts."""
        return _again, (type(self), self.place, self.found, self.expected, self.remedy)


def _again(kind: type[ReductionError], place: Place, found: str, expected: str, remedy: str) -> ReductionError:
    return kind(place=place, found=found, expected=expected, remedy=remedy)


class UnreadableFile(ReductionError):
    """The file as a whole cannot be read: empty, binary, no header, too large."""


class UnreadableValue(ReductionError):
    """A cell cannot be read as what its column holds."""


class UnreadableTime(ReductionError):
    """A time stamp cannot be placed on the clock without guessing."""


class InvalidSession(ReductionError):
    """The session document breaks its schema or refers to something that is not there."""


class NothingToReduce(ReductionError):
    """The session can be read but holds nothing that could give a point."""
