"""Sign-ins that fail make the next one wait: counted in the database, so that every web process counts alike."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from django.db.models import Q
from django.utils.crypto import salted_hmac

from units.models import SignInFailure

COUNTED_FOR = timedelta(minutes=15)
CLOCKS_DIFFER = timedelta(minutes=1)  # between web processes
MOST_OF_NAME_AND_ADDRESS = 5
MOST_OF_ADDRESS = 50  # several people may sit behind one address
MOST_OF_NAME = 100  # guesses spread over many addresses; so high that nobody is locked out by a few who tease
MOST_CODES = 10  # of one person, from anywhere: who tries codes knows the password already


def wait_s(*, name: str, address: str, most_of_name: int = MOST_OF_NAME, now: datetime | None = None) -> int:
    """Return how many seconds a sign-in has to wait; 0 where it may be tried."""
    moment = now or datetime.now(UTC)
    until = moment + CLOCKS_DIFFER  # what lies later was counted before the clock stepped back
    recent = SignInFailure.objects.filter(failed_at__gt=moment - COUNTED_FOR, failed_at__lt=until)
    of_name, of_address = Q(name_digest=_digest(_folded(name))), Q(address_digest=_digest(address))
    limits = ((of_name & of_address, MOST_OF_NAME_AND_ADDRESS), (of_address, MOST_OF_ADDRESS), (of_name, most_of_name))
    waits = [0]
    for which, most in limits:
        last = recent.filter(which).order_by("-failed_at")[:most]
        if len(last) == most:
            waits.append(int((last[most - 1].failed_at + COUNTED_FOR - moment).total_seconds()) + 1)
    return max(waits)


def failed(*, name: str, address: str, now: datetime | None = None) -> SignInFailure:
    """Count a failure, and forget those that no longer count."""
    moment = now or datetime.now(UTC)
    SignInFailure.objects.filter(failed_at__lte=moment - COUNTED_FOR).delete()
    return SignInFailure.objects.create(
        name_digest=_digest(_folded(name)), address_digest=_digest(address), failed_at=moment
    )


def succeeded(*, name: str, address: str) -> int:
    """Forget what this person mistyped here before."""
    mistyped = SignInFailure.objects.filter(name_digest=_digest(_folded(name)), address_digest=_digest(address))
    return mistyped.delete()[0]


def _folded(name: str) -> str:
    return name.strip().casefold()


def _digest(text: str) -> str:
    return salted_hmac("units.sign_in", text, algorithm="sha256").hexdigest()
