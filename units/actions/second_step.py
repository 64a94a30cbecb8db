"""A second step at sign-in: a code from an app, or a recovery code that works once.

References
----------
RFC 6238 (time-based codes: 30 s steps, six digits, one step either way for clocks that differ) and RFC 4226, section 4
(a shared secret of 160 bits), both from memory.
"""

from __future__ import annotations

import base64
import hashlib
import secrets
from datetime import UTC, datetime, timedelta

import pyotp
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F
from django.utils.crypto import constant_time_compare, salted_hmac

from units.actions.people import remember_change
from units.models import Bench, Person, SecondStep, SecondStepRule

ISSUER = "Cooling Ledger"
KEY_BYTES = 20
EITHER_WAY = 1
LONGEST_GRACE_DAYS = 90
RECOVERY_CODES, RECOVERY_BYTES = 10, 10  # 80 random bits each: one round of SHA-256 is enough
WRONG = "This code is not right, was used already, or the clock of the phone is off."


def of(person: Person) -> SecondStep | None:
    """Return the person's second step where it is confirmed and so is asked for."""
    return SecondStep.objects.filter(person=person, confirmed_at__isnull=False).first()


def begin(*, by: Person) -> SecondStep:
    """Begin with a fresh key; nothing is asked at sign-in before a code has confirmed it."""
    if of(by):
        raise ValidationError("The second step is on already; turn it off first.")
    facts = {"salt": secrets.token_hex(KEY_BYTES), "last_counter": 0, "recovery": []}
    return SecondStep.objects.update_or_create(person=by, defaults=facts)[0]


@transaction.atomic
def confirm(*, by: Person, code: str) -> list[str]:
    """Turn it on by a code of the app, and return recovery codes, which are shown this once.

    Whoever signed in before, by the password alone, is signed out in every other browser.
    """
    step = SecondStep.objects.select_for_update().filter(person=by, confirmed_at__isnull=True).first()
    if step is None or not _is_of_app(step, code, datetime.now(UTC)):
        raise ValidationError(WRONG)
    step.confirmed_at = datetime.now(UTC)
    by.times_signed_out = F("times_signed_out") + 1
    by.save(update_fields=["times_signed_out"])
    by.refresh_from_db(fields=["times_signed_out"])
    return _with_new_codes(step)


@transaction.atomic
def renew_codes(*, by: Person, code: str) -> list[str]:
    """Replace the recovery codes, by a code of the app or one of those that are left."""
    if not passes(person=by, code=code):
        raise ValidationError(WRONG)
    return _with_new_codes(SecondStep.objects.select_for_update().get(person=by))


@transaction.atomic
def passes(*, person: Person, code: str, now: datetime | None = None) -> bool:
    """Say whether a code lets the person in; one that did is used up."""
    step = SecondStep.objects.select_for_update().filter(person=person, confirmed_at__isnull=False).first()
    if step is None:
        return False
    digest = _hashed(code)
    if digest in step.recovery:
        step.recovery = [left for left in step.recovery if left != digest]
    elif not _is_of_app(step, code, now or datetime.now(UTC)):
        return False
    step.save()
    return True


def turn_off(*, person: Person, by: Person | None) -> bool:
    """Ask no second step of the person any more; say whether one was asked for or begun."""
    return bool(SecondStep.objects.filter(person=person).delete()[0])


@transaction.atomic
def require(*, bench: Bench, days: int, by: Person) -> SecondStepRule:
    """Open a bench, after so many days of grace, only to people of it who have a second step."""
    if not 0 <= days <= LONGEST_GRACE_DAYS:
        raise ValidationError(f"Grant 0 to {LONGEST_GRACE_DAYS} days.")
    if of(by) is None:
        raise ValidationError("Set up your own second step first, or you would shut yourself out.")
    begins_at = datetime.now(UTC) + timedelta(days=days)
    rule, _ = SecondStepRule.objects.update_or_create(bench=bench, defaults={"begins_at": begins_at})
    when = f"from {begins_at:%-d %B %Y}" if days else "from now on"
    remember_change(bench=bench, what=f"Asked everybody here for a second step at sign-in, {when}", by=by)
    return rule


@transaction.atomic
def require_no_more(*, bench: Bench, by: Person) -> bool:
    """Open a bench to people without a second step again; say whether it asked for one."""
    asked = bool(SecondStepRule.objects.filter(bench=bench).delete()[0])
    if asked:
        remember_change(bench=bench, what="Asks nobody for a second step at sign-in any more", by=by)
    return asked


def key_of(step: SecondStep) -> str:
    """Return the app's key in base 32."""
    made = salted_hmac("units.second_step", step.salt, algorithm="sha256").digest()
    return base64.b32encode(made[:KEY_BYTES]).decode()


def address_of(step: SecondStep) -> str:
    """Return what a code app reads from the picture: issuer, name and key."""
    return pyotp.TOTP(key_of(step)).provisioning_uri(name=step.person.get_username(), issuer_name=ISSUER)


def _is_of_app(step: SecondStep, code: str, now: datetime) -> bool:
    """Look for the code around this instant; the step then remembers it, so that it is not taken again."""
    app, said = pyotp.TOTP(key_of(step)), "".join(code.split())
    around = range(app.timecode(now) - EITHER_WAY, app.timecode(now) + EITHER_WAY + 1)
    taken = [counter for counter in around if constant_time_compare(app.generate_otp(counter), said)]
    if not taken or max(taken) <= step.last_counter:
        return False
    step.last_counter = max(taken)
    return True


def _with_new_codes(step: SecondStep) -> list[str]:
    codes = [_written(secrets.token_bytes(RECOVERY_BYTES)) for _ in range(RECOVERY_CODES)]
    step.recovery = [_hashed(code) for code in codes]
    step.save()
    return codes


def _written(code: bytes) -> str:
    text = base64.b32encode(code).decode().lower()
    return "-".join(text[i : i + 4] for i in range(0, len(text), 4))


def _hashed(code: str) -> str:
    plain = "".join(letter for letter in code.lower() if letter.isalnum())
    return hashlib.sha256(plain.encode()).hexdigest()
