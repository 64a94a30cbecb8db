"""What a column heading says: label, unit, statistic, whether it is a difference."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from reduction.readers.vocabulary import PhysicalUnit, find_unit
from reduction.readers.words import meanings, words_for

_BRACKETED = re.compile(r"[(\[{<]([^()\[\]{}<>]*(?:\([A-Za-z]\))?)[)\]}>]")
_TRAILING = (
    r",\s*([^,]+)$",
    r"\bin\s+(\S+)$",
    r"[\s_.]+([^\s_.]+/[^\s_.]+)$",
    r"[\s_.](\S*°\s?[CFK])$",
    r"[\s_]([^\s_]+[\s_][^\s_]+)$",
    r"[\s_.\-]([^\s_.\-]+)$",
    r"(?<=[a-zäöü])([A-Z]{1,3}h?)$",
)
UNIT_IN_CELLS = "unit in the cells"
_OTHER_SHARES = frozenset(("the logger itself", "a setting", "power factor"))  # that may stand in per cent
_NOT_REAL = frozenset(("apparent power", "reactive power"))
_INDEX_LETTERS = frozenset("acfghksvwdlj")
_BARE = frozenset(("a", "h", "s", "d", "l", "min", "bar", "ton", "rh", "v", "db", "var"))


@dataclass(frozen=True)
class Heading:
    """A heading taken apart; `because` says where the unit came from."""

    text: str
    words: tuple[str, ...]
    unit: PhysicalUnit | None
    quantity: str
    statistic: str | None
    is_difference: bool
    because: str

    def with_cell_unit(self, unit: PhysicalUnit | None) -> Heading:
        """Return the heading with the unit that its cells carry, where it names none itself."""
        if unit is None or self.unit is not None:
            return self
        return replace(self, unit=unit, quantity=unit.quantity, because=UNIT_IN_CELLS)


def words_of(text: str) -> tuple[str, ...]:
    """Split a heading at signs, digits and capitals, lower case.

    Examples
    --------
    >>> words_of("sensor.benchHeat_B2_power")
    ('sensor', 'bench', 'heat', 'b', '2', 'power')
    """
    spaced = re.sub(r"(?<=[a-zäöüéèñ])(?=[A-ZÄÖÜ])", " ", text)
    return tuple(w.casefold() for w in re.findall(r"[^\W\d_]+|\d+", spaced))


def _bracketed_unit(text: str) -> tuple[PhysicalUnit, str] | None:
    if text.strip().endswith("(A)") and (unit := find_unit(text.strip().split()[-1])):
        return unit, f"unit “{unit.symbol}” at the end of the heading"
    for inner in reversed(_BRACKETED.findall(text)):
        if unit := find_unit(inner):
            return unit, f"unit “{inner.strip()}” in brackets"
    return None


def _trailing_unit(text: str) -> tuple[PhysicalUnit, str] | None:
    """Find a unit after the last comma, `in`, slash, space, dot or underscore: `Temp, °F`, `ac_w`, `Raum °C`."""
    stem = _BRACKETED.sub("", text).strip()
    for pattern in _TRAILING:
        found = re.search(pattern, stem)
        if found and (unit := find_unit(found[1])):
            if found[1].casefold() in _BARE and pattern[0] != ",":
                continue
            return unit, f"unit “{found[1].strip()}” at the end of the heading"
    if (unit := find_unit(stem)) and len(stem) > 1:
        return unit, f"the heading “{stem}” is a unit"
    return None


def parse_heading(text: str, unit_text: str = "", statistic_text: str = "") -> Heading:
    """Take one heading apart, obeying a units row and a statistics row where the file has them.

    Examples
    --------
    >>> h = parse_heading("Temp, °F (S/N 1001)")
    >>> h.unit.symbol, h.quantity
    ('°F', 'temperature')
    >>> parse_heading("heatB_W").unit.symbol, parse_heading("split_F").is_difference
    ('W', True)
    """
    words, statistics = words_of(text), meanings("statistic")
    unit, because = None, "no unit in the heading"
    if found := find_unit(unit_text):
        unit, because = found, f"units row says “{unit_text.strip()}”"
    elif named := (_bracketed_unit(text) or _trailing_unit(text)):
        unit, because = named
    spoken = quantity_from_words(words)
    quantity = unit.quantity if unit else spoken
    if unit and unit.symbol == "%" and spoken in _OTHER_SHARES:
        quantity = spoken
    statistic = statistics.get(statistic_text.strip().casefold()) or next(
        (statistics[w] for w in reversed(words) if w in statistics and not (unit and w == unit.symbol)), None
    )
    is_difference = quantity == "temperature" and any(
        w in words_for("part", "difference") or w.startswith("delta") for w in words
    )
    if unit and unit.symbol == "K" and quantity == "temperature" and "Δ" in text:
        is_difference = True
    return Heading(text, words, unit, quantity, statistic, is_difference, because)


def quantity_from_words(words: Sequence[str]) -> str:
    """Return the quantity a heading's words name, or an empty string; the last word that names one wins."""
    quantities = meanings("quantity")
    if not_real := next((quantities[w] for w in words if quantities.get(w) in _NOT_REAL), ""):
        return not_real
    for word in reversed(words):
        if word in quantities:
            return quantities[word]
        if word.endswith(("temp", "temperatur")):
            return "temperature"
        if word.endswith(("feuchte", "leistung")):
            return "humidity" if word.endswith("feuchte") else "power"
    return ""


def _with_totals(parsed: list[Heading]) -> list[Heading]:
    """Read a bare `Total` beside `Today` or `Yesterday` as the counter it is, as meters head their registers."""
    if not any(words_for("part", "register") & set(heading.words) for heading in parsed):
        return parsed
    return [
        replace(h, quantity="energy", statistic=None, because="a total beside a register of the day")
        if h.unit is None and not h.quantity and h.statistic == "total"
        else h
        for h in parsed
    ]


def parse_headings(texts: Sequence[str], units: Sequence[str], statistics: Sequence[str]) -> list[Heading]:
    """Take all headings of a file apart; a last letter that counts siblings (`room_a room_c`) is no unit."""
    parsed = [parse_heading(*triple) for triple in zip(texts, units, statistics, strict=True)]
    stems: dict[str, set[str]] = {}
    for text in texts:
        if match := re.fullmatch(r"(.*[\s_\-.])([A-Za-z])", text.strip()):
            stems.setdefault(match[1].casefold(), set()).add(match[2].casefold())
    for i, heading in enumerate(parsed):
        match = re.fullmatch(r"(.*[\s_\-.])([A-Za-z])", heading.text.strip())
        letters = stems.get(match[1].casefold(), set()) if match else set()
        if len(letters) > 1 and letters & {"a", "b"} and match and match[2].casefold() in _INDEX_LETTERS:
            quantity = quantity_from_words(heading.words[:-1])
            parsed[i] = replace(heading, unit=None, quantity=quantity, because="last letter counts places, no unit")
    return _with_totals(parsed)
