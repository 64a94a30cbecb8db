"""A person adds a code from a phone to the password, signs in with it, and an owner takes the bench along."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pyotp
import pytest
from django.urls import reverse

from tests.journeys.walking import PASSWORD, sign_in
from units.models import Bench

pytestmark = pytest.mark.django_db(transaction=True)


def shown(key: str, *, steps_on: int = 0) -> str:
    """Return what a code app shows for a key, now or some steps on.

    Neither the code of now nor the next one is refused if the step ends before it is sent.
    """
    return pyotp.TOTP(key).at(datetime.now(UTC) + timedelta(seconds=30 * steps_on))


def code_entered(page: Any, code: str, button: str) -> None:
    page.get_by_label("Code").first.fill(code)
    page.get_by_role("button", name=button).click()


def test_a_second_step_is_turned_on_and_asked_for_at_the_next_sign_in(
    browser_page: Any, bench_of_three: Bench, look: Any
) -> None:
    sign_in(browser_page, "tester")
    browser_page.goto(reverse("second-step"))
    look(browser_page, "off")
    browser_page.get_by_role("button", name="Set it up").click()
    assert browser_page.get_by_alt_text("QR code of the key").is_visible()
    assert browser_page.evaluate("document.querySelector('main img').naturalWidth") > 100, "the picture is drawn"
    key = browser_page.locator("code.secret").inner_text()
    look(browser_page, "key")
    code_entered(browser_page, "000000x", "Turn it on")
    assert browser_page.get_by_text("This code is not right").is_visible()
    code_entered(browser_page, shown(key), "Turn it on")
    recovery = browser_page.locator("code.secret").all_inner_texts()
    assert len(recovery) == 10
    look(browser_page, "recovery codes")
    browser_page.get_by_role("link", name="I have copied them").click()
    look(browser_page, "on")

    browser_page.context.clear_cookies()
    browser_page.goto(reverse("sign-in"))
    browser_page.get_by_label("Username").fill("tester")
    browser_page.get_by_label("Password").fill(PASSWORD)
    browser_page.get_by_role("button", name="Sign in").click()
    browser_page.wait_for_url("**" + reverse("sign-in-code"))
    look(browser_page, "asked for the code")
    code_entered(browser_page, shown(key, steps_on=1), "Sign in")
    browser_page.wait_for_url("**" + reverse("bench-home"))


def test_an_owner_takes_the_bench_along(browser_page: Any, bench_of_three: Bench, look: Any) -> None:
    sign_in(browser_page, "owner")
    look(browser_page, "bench with its room for more")
    browser_page.goto(reverse("bench-archive"))
    look(browser_page, "what can be taken along")
    browser_page.get_by_role("button", name="Make the archive").click()
    link = browser_page.get_by_role("link", name="Download larkmoor.bench.zip")
    link.wait_for()
    look(browser_page, "made")
    with browser_page.expect_download() as coming:
        link.click()
    assert coming.value.suggested_filename == "larkmoor.bench.zip"
    with open(coming.value.path(), "rb") as file:
        assert file.read(2) == b"PK"
