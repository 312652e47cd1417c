"""Long user-supplied words and texts: wrapped in a real browser, never truncated silently."""

from __future__ import annotations

import re

from fieldfare.dashboards import assets
from tests.dashboards.browser import browser

TEMPLATES = assets.STATIC.parent / "templates"


def test_no_text_box_cuts_what_is_pasted_unless_its_script_says_so() -> None:
    """The service refuses what is too long and keeps it; the sheet's notes are told by `sheet.js`."""
    found = {
        path.name
        for path in TEMPLATES.glob("*.html")
        if re.search(r"<textarea[^>]*maxlength", path.read_text(encoding="utf-8"))
    }
    assert found == {"check_item.html"}
    assert "characters are kept" in assets.text_of("sheet.js")


def test_a_word_of_two_thousand_letters_widens_no_page() -> None:
    style = "".join(assets.text_of(name) for name in ("tones.css", "pages.css"))
    word = "x" * 2000
    body = (
        f'<main class="page"><h1>{word}</h1><p>{word}</p>'
        f'<ol class="round"><li><div>1</div><div><p class="said">{word}</p></div><div>2</div></li></ol>'
        f"<table><tr><th>Note</th><td><p>{word}</p></td></tr></table></main>"
    )
    with browser() as made:
        page = made.new_page()
        page.set_content(f"<html><head><style>{style}</style></head><body>{body}</body></html>")
        for width in (320, 390, 1366):
            page.set_viewport_size({"width": width, "height": 800})
            over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
            assert over <= 0, width
