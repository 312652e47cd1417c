"""Second factors in a real browser with a virtual authenticator (WebAuthn's automation, chromium's own)."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pyotp
import pytest
from playwright.sync_api import Browser, Page, expect

from tests.dashboards.browser import DESKTOP, PASSWORD, Running, browser, running, sign_in
from tests.dashboards.every_page import violations
from tests.dashboards.test_browser import Desk, fits

NARROW = {"width": 320, "height": 640}


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """Reached by a name: browsers make no passkeys for a bare address."""
    with running(tmp_path_factory.mktemp("served"), host="localhost", second_factor="required") as run:
        for role in ("installer", "engineer"):
            person = run.parts.accounts.add(f"{role}@heating.example", role.title(), role)
            run.parts.accounts.set_password(person.id, PASSWORD)
        yield run


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as made:
        yield made


def with_authenticator(page: Page) -> None:
    session = page.context.new_cdp_session(page)
    session.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2",
        "transport": "internal",
        "hasResidentKey": True,
        "hasUserVerification": True,
        "isUserVerified": True,
    }
    session.send("WebAuthn.addVirtualAuthenticator", {"options": options})


def sound(page: Page) -> None:
    """No violation of WCAG that axe can find, and no sideways scrolling on a narrow phone."""
    assert violations(page) == []
    page.set_viewport_size(NARROW)  # type: ignore[arg-type]
    assert fits(page)
    page.set_viewport_size(DESKTOP)  # type: ignore[arg-type]


class LocalDesk(Desk):
    def __exit__(self, *why: object) -> None:
        self.context.close()
        if why[0] is None:
            assert self.watched.errors == []


def test_a_passkey_is_made_and_signs_in(service: Running, chromium: Browser) -> None:
    with LocalDesk(chromium, DESKTOP) as desk:
        page = desk.page
        with_authenticator(page)
        sign_in(page, service, "installer")
        expect(page.get_by_text("asks for a second factor")).to_be_visible()
        sound(page)
        page.get_by_role("button", name="Add a passkey").click()
        page.get_by_label("Name of the device").fill("office computer")
        sound(page)
        page.get_by_role("button", name="Make the passkey").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Recovery codes")
        sound(page)
        page.get_by_role("link", name="I have kept them").click()
        expect(page.get_by_text("office computer")).to_be_visible()
        expect(page.get_by_text("asks for a second factor")).to_have_count(0)
        sound(page)
        sign_out(page)
        sign_in_with_password(page, service, "installer")
        expect(page.get_by_role("heading", level=1)).to_have_text("Second step")
        sound(page)
        page.get_by_role("button", name="Use a passkey").click()
        page.wait_for_url(lambda url: "/sign-in" not in url)
        page.goto(f"{service.address}/account")
        expect(page.locator("main")).to_contain_text("by password and passkey")


def test_another_authenticator_is_refused(service: Running, chromium: Browser) -> None:
    with LocalDesk(chromium, DESKTOP) as desk:
        page = desk.page
        with_authenticator(page)
        sign_in_with_password(page, service, "installer")
        page.get_by_role("button", name="Use a passkey").click()
        expect(page.get_by_role("status")).to_contain_text("was not used")
        assert "/sign-in/second" in page.url


def test_an_app_is_added_without_scripts(service: Running, chromium: Browser) -> None:
    with LocalDesk(chromium, DESKTOP, java_script_enabled=False) as desk:
        page = desk.page
        sign_in(page, service, "engineer")
        page.get_by_role("button", name="Add an authenticator app").click()
        secret = re.sub(r"\s", "", page.locator("code.secret").inner_text())
        page.get_by_label("Code").fill(pyotp.TOTP(secret).now())
        page.get_by_role("button", name="Add", exact=True).click()
        codes = page.locator(".codes code").all_inner_texts()
        page.get_by_role("link", name="I have kept them").click()
        sign_out(page)
        sign_in_with_password(page, service, "engineer")
        page.get_by_label("Code of your app").fill(codes[0])
        page.get_by_role("button", name="Go on").click()
        page.wait_for_url(lambda url: "/sign-in" not in url)


def test_the_pages_that_ask_again_are_sound(service: Running, chromium: Browser) -> None:
    from tests.dashboards.account_pages import PAGES

    with LocalDesk(chromium, DESKTOP) as desk:
        desk.page.goto(f"{service.address}/sign-in")  # a page of the service, so that its style is loaded
        for page in PAGES:
            shown = re.sub('<meta http-equiv="refresh"[^>]*>', "", page)  # the browser stays here
            desk.page.set_content(shown.replace('="/static', f'="{service.address}/static'))
            sound(desk.page)


def sign_out(page: Page) -> None:
    """Signing out first clears what the device keeps, so the next page comes a moment later."""
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in")


def sign_in_with_password(page: Page, run: Running, role: str) -> None:
    page.goto(f"{run.address}/sign-in")
    page.get_by_label("E-mail").fill(f"{role}@heating.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/sign-in/second")
