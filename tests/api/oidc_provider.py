"""A small OpenID Connect provider on loopback, for tests. It checks PKCE and the redirect address as a real
one does."""

from __future__ import annotations

import base64
import hashlib
import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from joserfc import jwt
from joserfc.jwk import KeySet, RSAKey

CLIENT, SECRET = "fieldfare-here", "a client's secret"


@dataclass
class LocalProvider:
    """claims : what the next ID token says beside or instead of what is right; signs_with : its key"""

    issuer: str = ""
    claims: dict[str, Any] = field(default_factory=dict)
    key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, {"kid": "one", "use": "sig"}))
    signs_with: RSAKey | None = None
    redirects_to: str = ""
    padding: int = 0
    asked: list[str] = field(default_factory=list)
    codes: dict[str, dict[str, str]] = field(default_factory=dict)

    def authorize(self, address: str, email: str, claims: dict[str, Any] | None = None) -> dict[str, str]:
        """What a person's browser does there. Returns the query parameters of the way back."""
        query = {k: v[0] for k, v in parse_qs(urlsplit(address).query).items()}
        assert query["response_type"] == "code"
        assert query["code_challenge_method"] == "S256"
        assert query["client_id"] == CLIENT
        code = f"code {len(self.codes)}"
        self.codes[code] = query
        self.claims = {"email": email, "email_verified": True, **(claims or {})}
        return {"code": code, "state": query["state"], "iss": self.issuer}

    def token(self, form: dict[str, str], auth: str) -> dict[str, Any] | None:
        asked = self.codes.pop(form.get("code", ""), None)
        proof = hashlib.sha256(form.get("code_verifier", "").encode()).digest()
        basic = base64.b64encode(f"{CLIENT}:{SECRET}".encode()).decode()
        if (
            asked is None
            or base64.urlsafe_b64encode(proof).rstrip(b"=").decode() != asked["code_challenge"]
            or form.get("redirect_uri") != asked["redirect_uri"]
            or auth != f"Basic {basic}"
        ):
            return None
        now = int(time.time())
        claims = {
            "iss": self.issuer,
            "aud": CLIENT,
            "sub": "42",
            "iat": now,
            "exp": now + 300,
            "nonce": asked["nonce"],
            **self.claims,
        }
        header = {"alg": "RS256", "kid": "one"}
        return {"id_token": jwt.encode(header, claims, self.signs_with or self.key), "token_type": "Bearer"}


@contextmanager
def local_provider() -> Iterator[LocalProvider]:
    provider = LocalProvider()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            provider.asked.append(self.path)
            if provider.redirects_to:
                self.send_response(302)
                self.send_header("Location", provider.redirects_to)
                self.end_headers()
            elif self.path == "/.well-known/openid-configuration":
                self._send(
                    {
                        "issuer": provider.issuer,
                        "authorization_endpoint": f"{provider.issuer}/authorize",
                        "token_endpoint": f"{provider.issuer}/token",
                        "jwks_uri": f"{provider.issuer}/keys",
                        "padding": "x" * provider.padding,
                    }
                )
            else:
                self._send(KeySet([provider.key]).as_dict(private=False))

        def do_POST(self) -> None:
            raw = self.rfile.read(int(self.headers["Content-Length"])).decode()
            form = {k: v[0] for k, v in parse_qs(raw).items()}
            found = provider.token(form, self.headers.get("Authorization", ""))
            self._send(found or {"error": "invalid_grant"}, 200 if found else 400)

        def _send(self, document: Any, status: int = 200) -> None:
            body = json.dumps(document).encode()
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *args: Any) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    provider.issuer = f"http://127.0.0.1:{server.server_port}"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield provider
    finally:
        server.shutdown()
        server.server_close()


def way_back(answer: dict[str, str]) -> str:
    return f"/sign-in/provider/done?{urlencode(answer)}"
