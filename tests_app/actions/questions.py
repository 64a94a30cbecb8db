"""What files ask and only a person can answer; the answer is part of how the file is read."""

from __future__ import annotations

from django.db import transaction

from reduction.errors import InvalidSession, Place
from tests_app import questions
from tests_app.actions import mapping
from tests_app.models import Session, SessionFile
from units.models import Person


@transaction.atomic
def answer(*, file: SessionFile, what: str, answer: str, by: Person) -> SessionFile:
    """Keep the answer in the file's profile and read the file again by it."""
    asked = next((question for question in questions.open_in(file) if question.what == what), None)
    if asked is None or answer not in asked.options:
        raise InvalidSession(
            place=Place(file.name),
            found=f"{what}: {answer}",
            expected="an answer that the file asks for",
            remedy="Open the page of the files again; it shows what is still asked.",
        )
    if asked.column_of_unit:
        profile = file.profile | {"units": file.profile.get("units", {}) | {asked.column_of_unit: answer}}
        file.channels.filter(column=asked.column_of_unit).update(quantity_unit=answer)
    else:
        profile = file.profile | {what: answer}
    return mapping.read_as(file=file, profile=profile, by=by)


def require_answers(*, session: Session) -> None:
    """Refuse a session of which a file cannot be read before somebody has answered what it asks."""
    for file in session.files.all():
        asked = file.reading.get("asks")
        if asked:
            raise InvalidSession(
                place=Place(file.name),
                found=f"an open question ({questions.Asked.of(asked).title})",
                expected="an answer, without which the file cannot be read",
                remedy="Answer it under Files; the file says what speaks for each answer.",
            )
