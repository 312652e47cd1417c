"""Generated requests of browsers and providers about people: accepted or refused, never an internal error."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.passkeys import PasskeySite
from fieldfare.api.people.secrets import new_secret
from tests.api.web import Web

SITE = PasskeySite("https://heating.example")
_TEXT = st.text(max_size=30) | st.sampled_from(["", "AA", "o2NmbXRkbm9uZQ", "e30", "public-key", "A" * 5000])
_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | _TEXT,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_TEXT, inner, max_size=3),
    max_leaves=6,
)
_ANY = _JSON | _TEXT
_ANSWERS = st.fixed_dictionaries(
    {},
    optional={
        "id": _ANY,
        "rawId": _ANY,
        "type": _ANY,
        "response": (
            _ANY
            | st.fixed_dictionaries(
                {},
                optional={
                    "clientDataJSON": _ANY,
                    "attestationObject": _ANY,
                    "authenticatorData": _ANY,
                    "signature": _ANY,
                    "userHandle": _ANY,
                    "transports": _ANY,
                },
            )
        ),
    },
)
FEW = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


@settings(max_examples=200, deadline=None)
@given(_ANSWERS | _JSON)
def test_a_browser_s_answer_for_a_passkey_is_refused_in_words(answer: Any) -> None:
    text, challenge = json.dumps(answer), new_secret()
    with pytest.raises(InputError):
        SITE.made(text, challenge)
    with pytest.raises(InputError):
        SITE.signed(text, challenge, "AA", 0)


@FEW
@given(st.text(max_size=200), st.text(max_size=200))
def test_codes_and_credentials_are_refused(web: Web, code: str, credential: str) -> None:
    person = web.parts.accounts.find("engineer@heating.example").id
    with pytest.raises(InputError):
        web.parts.factors.check_code(person, code)
    with pytest.raises(InputError):
        web.parts.factors.check_passkey(person, credential, new_secret())


@FEW
@given(st.text(max_size=100), _JSON, st.text(max_size=60))
def test_forms_of_the_account_end_in_no_internal_error(web: Web, word: str, kept: Any, where: str) -> None:
    client = web["householder"]
    csrf = client.headers["X-CSRF-Token"]
    form = {"csrf": csrf, "where": f"/{where}", "kept": json.dumps(kept), "code": word, "credential": word}
    assert client.post("/confirm", data=form).status_code < 500
    assert client.post("/account/app/confirm", data=form).status_code < 500
    assert client.post("/account/passkey/confirm", data=form).status_code < 500
    assert web["nobody"].post("/sign-in/second", data=form).status_code < 500


@FEW
@given(st.dictionaries(st.sampled_from(["code", "state", "iss", "error"]), st.text(max_size=60)))
def test_a_way_back_that_was_not_begun_is_refused(web: Web, answer: dict[str, str]) -> None:
    from fieldfare.api.core.outgoing import Outgoing
    from fieldfare.api.people.provider import Provider

    provider = Provider("https://id.example", "c", "s", "https://heating.example", "key", Outgoing())
    with pytest.raises(InputError):
        provider.finish(answer.get("code", ""), answer, web.parts.accounts)
