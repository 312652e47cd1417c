"""The OpenAPI description against the application, with generated requests, for each role and anonymously."""

from __future__ import annotations

from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given
from hypothesis import settings as hypothesis_settings
from schemathesis import GenerationMode
from schemathesis.checks import (
    content_type_conformance,
    not_a_server_error,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from fieldfare.api.http.app import PREFIX
from tests.api.test_access import routes
from tests.api.web import OTHER, ROLES, Web

EXAMPLES = (3, pytest.param(12, marks=pytest.mark.slow))
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
UNTRIED = {("GET", "/sites/{site_id}/live"), ("DELETE", "/session")}
"""An endless answer, and the end of the test's own session: both have tests of their own."""


@pytest.fixture(scope="module")
def description(web: Web) -> Any:
    return schemathesis.openapi.from_dict(web["nobody"].app.openapi())


@pytest.mark.parametrize("examples", EXAMPLES)
@pytest.mark.parametrize(("method", "path"), sorted(routes() - UNTRIED))
def test_made_up_requests(description: Any, web: Web, method: str, path: str, examples: int) -> None:
    """Every role sends the same requests: making them up takes longer than answering them."""
    operation = description[PREFIX + path][method]
    right, wrong = (operation.as_strategy(generation_mode=mode) for mode in GenerationMode)

    @given(case=right | wrong)
    @hypothesis_settings(
        max_examples=examples,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    def each(case: schemathesis.Case) -> None:
        for role in ROLES:
            answer = send(web[role], case)
            case.validate_response(answer, checks=CHECKS)
            told = f"{role}: {answer.text[:200]}"
            if role in ("householder", "link", "device", "nobody"):
                assert OTHER in str(case.as_transport_kwargs()) or OTHER not in answer.text, told
            if role in ("nobody", "device"):
                assert "Alder Row" not in answer.text, told

    each()


def send(client: Any, case: schemathesis.Case) -> Any:
    """The made-up request with the client's own session in place of made-up secrets."""
    request = case.as_transport_kwargs(base_url="http://localhost")
    made_up = {
        k: v for k, v in request.pop("headers", {}).items() if k.lower() not in ("authorization", "cookie")
    }
    request.pop("cookies", None)
    if isinstance(request.get("data"), str | bytes):
        request["content"] = request.pop("data")  # fields of a form are `data`, a body as it is `content`
    return client.request(**request, headers={**made_up, **client.headers})
