"""Rare account pages, rendered with their longest contents."""

from __future__ import annotations

from fieldfare.dashboards import pages

VISITOR = {"name": "kim@heating.example", "role": "installer", "csrf": "a-second-secret", "by_link": False}
PAGES = (
    pages.confirm_page(
        VISITOR, "/people", "[]", "this code is wrong", "{}", has_factor=True, provider="the firm's account"
    ),
    pages.go_on_page(VISITOR, "/people", [("email", "new@heating.example")]),
    pages.new_app_page(
        VISITOR, "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567", "otpauth://totp/x?secret=A", "this code is wrong"
    ),
    pages.leave_page("https://provider.example/authorize", "the firm's account"),
)
