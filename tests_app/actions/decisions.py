"""The decision rule of a session: chosen before the run; what is changed later is told, with its reason."""

from __future__ import annotations

from django.db import transaction

from reduction import session as doc
from reduction.errors import InvalidSession, Place
from reduction.judge.decision import NO_TOLERANCE, in_words, schemes
from tests_app import session_document
from tests_app.actions.reading import storable
from tests_app.models import RuleChoice, Session
from units.models import Person

CHOSEN = {"rule", "probability", "guard_factor", "tolerance_from"}
After = RuleChoice.After


@transaction.atomic
def choose(*, session: Session, rule: doc.DecisionRule, why: str = "", by: Person) -> RuleChoice | None:
    """Set the rule that the session's claims are judged by; None where it is that one already.

    Before there are log files it is chosen freely. From then on a change is written down for good with its reason,
    and goes with the session's results into what is published of them.
    """
    session = Session.objects.select_for_update().get(pk=session.pk)
    _require_known(session, rule)
    standing, after = session_document.decision_of(session), seen_already(session)
    before, now = in_words(standing), in_words(rule)
    if before == now and (after or standing.chosen_at):
        return None
    if after and not why.strip():
        raise InvalidSession(
            place=Place(session.name, column="why"),
            found="no reason",
            expected="the reason for another decision rule",
            remedy="The test's data are there already: say why the rule changes now. Readers are told.",
        )
    return RuleChoice.objects.create(
        session=session,
        rule=rule.model_dump(mode="json", include=CHOSEN, exclude_defaults=True),
        before=before,
        now=now,
        after=after,
        why=storable(why.strip()),
        chosen_in_role=session.bench.memberships.filter(person=by).values_list("role", flat=True).first() or "",
        chosen_by=by,
    )


def seen_already(session: Session) -> After:
    """Say what of the test there is to be seen: nothing yet, its data, or its result."""
    if session.reductions.exists():
        return After.RESULT
    return After.DATA if session.files.exists() else After.NOTHING


def _require_known(session: Session, rule: doc.DecisionRule) -> None:
    known = ("", NO_TOLERANCE, *schemes())
    if rule.tolerance_from not in known:
        raise InvalidSession(
            place=Place(session.name, column="tolerance_from"),
            found=rule.tolerance_from[:80],
            expected="one of " + ", ".join(known[1:]),
            remedy="Name a known scheme, or leave it empty to take the one of the unit's kind.",
        )
