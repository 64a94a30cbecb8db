"""What never leaves a bench: serials, names of files, columns, instruments and people, notes, private ids.

Sentences that the reduction wrote name channels and files. A `Veil` puts public words in their place: a column
becomes its role, an instrument its kind and a number. The reviewer's own text is never rewritten; what it should
not say is found by `Secrets` and stops a publication.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import PurePosixPath
from typing import Any

from reduction.session import Role

SHORTEST_REPLACED = 3
SHORTEST_NOTE = 12
SHORTEST_SECRET = 4
SHORTEST_NUMBER = 6  # a serial of fewer digits would be found in any table of watts
DIGEST_CHARS = 16
ROLE_WORDS = {Role.ADJACENT_TEMP: "adjoining temperature", Role.IGNORED: "unused column"}
INSTRUMENT_WORDS = {"power": "power meter", "energy": "energy meter", "temperature": "thermometer", "mass": "scale"}
INSTRUMENT_WORDS |= {"humidity": "hygrometer"}
IMPORT_MARK = re.compile(r" \[[0-9a-f]+\]$")

Named = tuple[str, str]


def hidden_key(text: str) -> str:
    """Return what stands for a private key in public: equal keys stay equal, none can be read.

    >>> hidden_key("instrument:plug 7") == hidden_key("instrument:plug 7"), len(hidden_key("x"))
    (True, 16)
    """
    return hashlib.sha256(text.encode()).hexdigest()[:DIGEST_CHARS]


def role_words(role: str) -> str:
    """Return a role in words.

    >>> role_words("unit_power"), role_words("room_rh"), role_words("return_temp")
    ('unit power', 'room humidity', 'return temperature')
    """
    spoken = str(role).replace("_rh", "_humidity").replace("_temp", "_temperature").replace("_", " ")
    return ROLE_WORDS.get(role, spoken)


@dataclass(frozen=True)
class Veil:
    """The private names of one session and the public words that stand for them."""

    words: dict[str, str]
    notes: tuple[str, ...] = ()

    @classmethod
    def of_session(cls, name: str, document: dict[str, Any]) -> Veil:
        """Return the veil over what a reduced session document calls its things."""
        room = (document.get("room") or {}).get("name", "")
        names = [*_files(document), *_channels(document), *_instruments(document), (name, "session"), (room, "room")]
        notes = sorted((note for note in _notes(document) if len(note) >= SHORTEST_NOTE), key=len, reverse=True)
        return cls({private: public for private, public in reversed(names) if private}, tuple(notes))

    @cached_property
    def _pattern(self) -> re.Pattern[str]:
        ordered = sorted(self.words, key=len, reverse=True)
        parts = [
            rf"(?<!\w){re.escape(name)}(?!\w)"
            if _is_distinct(name)
            else rf"(?<=“){re.escape(name)}(?=”)|^{re.escape(name)}(?=: )|^{re.escape(name)}$"
            for name in ordered
        ]
        return re.compile("|".join(parts))

    def cover(self, text: str) -> str:
        """Return a sentence of the program's with public words in place of private ones."""
        for note in self.notes:
            text = text.replace(note, "(bench note)")
        return self._pattern.sub(lambda found: self.words[found[0]], text) if self.words else text

    def covered(self, value: Any) -> Any:
        """Return data with every string in it covered, and the keys of shared errors as digests."""
        if isinstance(value, str):
            return self.cover(value)
        if isinstance(value, list | tuple):
            return [self.covered(one) for one in value]
        if isinstance(value, dict):
            return {
                key: hidden_key(one) if key == "shared_key" and one else self.covered(one) for key, one in value.items()
            }
        return value


def _is_distinct(name: str) -> bool:
    """Say whether a name is none of a sentence's own words; others are replaced only where they stand as a name."""
    return len(name) >= SHORTEST_REPLACED and not name.isalpha()


def _numbered(named: Iterable[Named]) -> list[Named]:
    """Number the public words that stand for more than one thing."""
    unique = list(dict.fromkeys(named))
    publics = [public for _, public in unique]
    seen: dict[str, int] = {}
    found = []
    for private, public in unique:
        seen[public] = seen.get(public, 0) + 1
        found.append((private, f"{public} {seen[public]}" if publics.count(public) > 1 else public))
    return found


def _files(document: dict[str, Any]) -> list[Named]:
    numbered = _numbered((log["path"], "log file") for log in document.get("files", ()))
    return [
        (text, public)
        for path, public in numbered
        for text in (path, PurePosixPath(path).name, PurePosixPath(path).stem)
    ]


def _channels(document: dict[str, Any]) -> list[Named]:
    return _numbered((channel["column"], role_words(channel["role"])) for channel in document.get("channels", ()))


def _instruments(document: dict[str, Any]) -> list[Named]:
    numbered = _numbered(
        (instrument["id"], INSTRUMENT_WORDS.get(instrument.get("quantity", ""), "instrument"))
        for instrument in document.get("instruments", ())
    )
    return [(text, public) for name, public in numbered for text in (name, IMPORT_MARK.sub("", name))]


def _notes(document: dict[str, Any]) -> Iterable[str]:
    yield from filter(None, [document.get("notes", "")])
    yield from (event["what"] for event in document.get("events", ()) if event.get("kind", "note") == "note")


@dataclass
class Secrets:
    """Strings that must not appear in anything published, each with what it is in words."""

    texts: dict[str, str] = field(default_factory=dict)

    def add(self, text: str, what: str, *, shortest: int = SHORTEST_SECRET) -> None:
        """Take in a string; one that cannot be told from a word or from a figure is left out."""
        secret = text.strip()
        if len(secret) >= (SHORTEST_NUMBER if secret.isdigit() else shortest) and not secret.isalpha():
            self.texts[secret] = what

    def told_in(self, text: str) -> list[str]:
        """Say which kinds of private things a text tells, in words that do not repeat them."""
        lower = text.lower()
        told = [
            what
            for secret, what in self.texts.items()
            if secret.lower() in lower and re.search(rf"(?<!\w){re.escape(secret.lower())}(?!\w)", lower)
        ]
        return list(dict.fromkeys(told))
