"""What changed from one edition to the next, in words a reader can check: before and now."""

from __future__ import annotations

import re
from difflib import SequenceMatcher
from typing import Any

from reduction.judge.decision import in_words
from reduction.session import DecisionRule
from units.editions.figures import FIGURES, REFERENCE

Document = dict[str, Any]
Change = dict[str, str]
TEXTS = {"title": "Title", "summary": "Summary", "disclosure": "Disclosure", "embargo": "Embargo"}
COMPARED = ("capacity", "power", "eer", "cop", "outdoor", "room", "limit", "rated")
ABSENT = "not in it"
FORMER_WORDS = (
    (r"a wording needs (\S+) % conformance probability", r"a word is given where it is at least \1 % probable"),
    (
        r"a wording needs a distance of (\S+) × U from the line",
        r"a word is given where the value clears the line by \1 × U",
    ),
)


def changes(before: Document, now: Document) -> list[Change]:
    """Return every visible change; an empty list says that the two show the same."""
    return [
        *_texts(before, now),
        *_told(before, now),
        *_points(before["points"], now["points"]),
        *_verdicts(before["points"], now["points"]),
        *_claims(before["units"], now["units"]),
        *_rules(before["sessions"], now["sessions"]),
        *_body(_read(before), _read(now)),
        *_charts(before["charts"], now["charts"]),
    ]


def _change(what: str, before: str, now: str) -> Change:
    return {"what": what, "before": before, "now": now}


def _texts(before: Document, now: Document) -> list[Change]:
    found = [_change(title, before[key], now[key]) for key, title in TEXTS.items() if before[key] != now[key]]
    licences = [document["licence"]["name"] for document in (before, now)]
    return found + ([_change("Licence", *licences)] if licences[0] != licences[1] else [])


def _told(before: Document, now: Document) -> list[Change]:
    """Return what else is told in words: where units came from, what the maker said, answers to findings."""
    found = []
    for title, tell in TOLD.items():
        said = ["\n\n".join(tell(document)) or ABSENT for document in (before, now)]
        if said[0] != said[1]:
            found.append(_change(title, *said))
    return found


def _origins(document: Document) -> list[str]:
    named = ("name", "obtained_label", "obtained_detail", "afterwards_label", "price")
    return [", ".join(str(unit[name]) for name in named if unit[name]) for unit in document["units"]]


def _replies(document: Document) -> list[str]:
    return [f"{reply['from']}: {reply['text']}" for reply in document["replies"]]


def _contacts(document: Document) -> list[str]:
    return [f"{one['on']} {one.get('at', '')} {one['how']}: {one['outcome']}" for one in document["contacts"]]


def _answers(document: Document) -> list[str]:
    return [one["answer"] for session in document["sessions"].values() for one in session["answers"]]


TOLD = {
    "Where the units came from": _origins,
    "The maker's answer": _replies,
    "Attempts to reach the maker": _contacts,
    "Answers to findings": _answers,
}


def _verdicts(before: Document, now: Document) -> list[Change]:
    """Return where the same point is given another word about the same claim."""
    found = []
    for key in [key for key in before if key in now]:
        sides = [_words_on(side[key]["verdicts"]) for side in (before, now)]
        for claim in dict.fromkeys([*sides[0], *sides[1]]):
            said = [side.get(claim, "not judged") for side in sides]
            if said[0] != said[1]:
                found.append(_change(f"{key}, verdict on {claim}", *said))
    return found


def _words_on(verdicts: list[dict[str, Any]]) -> dict[str, str]:
    """Return the word on each quantity; of one that is claimed more than once, the word on each claim."""
    quantities = [one["quantity"] for one in verdicts]
    return {
        one["quantity"] if quantities.count(one["quantity"]) == 1 else one["claim"]: one["words"] for one in verdicts
    }


def _points(before: Document, now: Document) -> list[Change]:
    found = []
    for key in sorted(before.keys() | now.keys(), key=lambda name: (len(name), name)):
        if key not in before or key not in now:
            said = [FIGURES["capacity"][1](side[key]) if key in side else ABSENT for side in (before, now)]
            found.append(_change(f"Point {key}", *said))
            continue
        for figure in COMPARED:
            title, write = FIGURES[figure]
            said = [write(before[key]), write(now[key])]
            if said[0] != said[1]:
                found.append(_change(f"{key}, {title}", *said))
    return found


def _claims(before: list[Document], now: list[Document]) -> list[Change]:
    sides = [
        {
            (
                unit["name"],
                claim["quantity_label"],
                claim["condition_name"],
            ): f"{claim['value']:g} {claim['quantity_unit']}"
            for unit in units
            for claim in unit["claims"]
        }
        for units in (before, now)
    ]
    keys = dict.fromkeys([*sides[0], *sides[1]])
    return [
        _change(f"Claim of {key[0]}, {key[1]}", sides[0].get(key, ABSENT), sides[1].get(key, ABSENT))
        for key in keys
        if sides[0].get(key) != sides[1].get(key)
    ]


def _rules(before: Document, now: Document) -> list[Change]:
    """Return another decision rule; editions from before there was a choice were judged by the usual one."""
    usual = {"rule": in_words(DecisionRule())}
    said = [
        "; ".join(dict.fromkeys(_as_now(session.get("decision", usual)["rule"]) for session in sessions.values()))
        for sessions in (before, now)
    ]
    return [_change("Decision rule", *said)] if said[0] != said[1] else []


def _as_now(rule: str) -> str:
    """Return a rule in the words of today, so that an edition of the first version does not seem judged otherwise."""
    for before, now in FORMER_WORDS:
        rule = re.sub(before, now, rule)
    return rule


def _read(document: Document) -> str:
    """Return the text as it reads, with what its figures said."""
    return REFERENCE.sub(lambda found: document["figures"].get(found[0]) or found[0], document["body"])


def _body(before: str, now: str) -> list[Change]:
    """Return the paragraphs that changed."""
    sides = [[part.strip() for part in text.replace("\r", "").split("\n\n") if part.strip()] for text in (before, now)]
    matcher = SequenceMatcher(a=sides[0], b=sides[1], autojunk=False)
    return [
        _change("Text", "\n\n".join(sides[0][a:b]) or ABSENT, "\n\n".join(sides[1][c:d]) or ABSENT)
        for kind, a, b, c, d in matcher.get_opcodes()
        if kind != "equal"
    ]


def _charts(before: list[Document], now: list[Document]) -> list[Change]:
    said = [", ".join(chart["title"] for chart in charts) or "none" for charts in (before, now)]
    return [_change("Charts", *said)] if said[0] != said[1] else []
