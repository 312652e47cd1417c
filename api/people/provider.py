"""Sign-in with the firm's OpenID Connect provider: authorization code flow with PKCE, state and nonce."""

from __future__ import annotations

import hashlib
import time
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode, urlsplit

from itsdangerous import BadSignature, URLSafeTimedSerializer

from fieldfare.analysis.errors import InputError
from fieldfare.api.core.outgoing import Outgoing, Unreachable
from fieldfare.api.people.accounts import (
    AccountRefused,
    Accounts,
    PersonRow,
    UnknownPerson,
)
from fieldfare.api.people.secrets import new_secret
from fieldfare.api.people.sign_in import same

STARTED_FOR_S = 600
"""Seconds in which a sign-in that was begun must come back."""
LEEWAY_S = 60
METADATA_FOR_S = 3600
ALGORITHMS = ["RS256", "PS256", "ES256", "EdDSA"]
_PATH = "/.well-known/openid-configuration"


@dataclass(frozen=True)
class Started:
    """State that a browser stores, signed, during a sign-in. confirms : id of the person confirming, or 0"""

    state: str
    nonce: str
    verifier: str
    confirms: int = 0


class Provider:
    """The firm's provider; not contacted before the first sign-in.

    Sources: OpenID Connect Core 1.0, Discovery 1.0; RFC 7636 (PKCE); RFC 9207 (issuer in the answer).
    """

    def __init__(
        self, issuer: str, client: str, secret: str, service: str, key: str, outgoing: Outgoing
    ) -> None:
        """service : our public address; key : signs the state stored in browsers"""
        self._issuer, self._client, self._secret = issuer.rstrip("/"), client, secret
        self._redirect = f"{service}/sign-in/provider/done"
        self._outgoing = outgoing
        self._signer = URLSafeTimedSerializer(
            key, salt="provider", signer_kwargs={"digest_method": hashlib.sha256}
        )
        self._metadata: tuple[float, dict[str, Any]] | None = None

    def start(self, confirms: int = 0) -> tuple[str, str]:
        """Start a sign-in. Returns the redirect address and the state for the browser to store. Raises
        InputError."""
        started = Started(new_secret(), new_secret(), new_secret(), confirms)
        query = {
            "response_type": "code",
            "client_id": self._client,
            "redirect_uri": self._redirect,
            "scope": "openid email",
            "state": started.state,
            "nonce": started.nonce,
            "code_challenge": _challenge(started.verifier),
            "code_challenge_method": "S256",
        }
        if confirms:
            query |= {"prompt": "login", "max_age": "0"}
        endpoint = self._endpoint("authorization_endpoint")
        signed = self._signer.dumps([started.state, started.nonce, started.verifier, started.confirms])
        return f"{endpoint}{'&' if '?' in endpoint else '?'}{urlencode(query)}", str(signed)

    def finish(self, signed: str, answer: dict[str, str], accounts: Accounts) -> tuple[PersonRow, int]:
        """Verify the provider's callback.

        signed : the text of `start`; answer : query parameters
        Returns the person, and who confirms (0 for a sign-in). Raises AccountRefused, InputError.
        """
        started = self._started(signed)
        if not same(answer.get("state", ""), started.state):
            raise AccountRefused("this sign-in was not begun here; begin again")
        if answer.get("iss", self._issuer).rstrip("/") != self._issuer:
            raise AccountRefused("the answer came from another provider")
        if "error" in answer or not answer.get("code"):
            raise AccountRefused("the provider did not let you in")
        claims = self._claims(answer["code"], started)
        if claims.get("email_verified") is not True or not claims.get("email"):
            raise AccountRefused("the provider has not verified your e-mail address")
        try:
            person = accounts.find(str(claims["email"]))
        except (UnknownPerson, InputError):
            raise AccountRefused("nobody with your e-mail address was invited here") from None
        if not person.active:
            raise AccountRefused("nobody with your e-mail address was invited here")
        return person, started.confirms

    def _started(self, signed: str) -> Started:
        try:
            state, nonce, verifier, confirms = self._signer.loads(signed, max_age=STARTED_FOR_S)
        except (BadSignature, ValueError, TypeError):
            raise AccountRefused("too much time has passed; begin again") from None
        return Started(state, nonce, verifier, int(confirms))

    def _claims(self, code: str, started: Started) -> dict[str, Any]:
        """Exchange a code for an ID token; return its claims. Raises AccountRefused, InputError."""
        form = {
            "grant_type": "authorization_code",
            "code": code,
            "redirect_uri": self._redirect,
            "code_verifier": started.verifier,
        }
        sent = (self._client, self._secret) if self._secret else None
        if sent is None:
            form["client_id"] = self._client
        token = self._request("POST", self._endpoint("token_endpoint"), form, sent).get("id_token")
        if not isinstance(token, str):
            raise AccountRefused("the provider sent no ID token")
        return self._verified(token, started)

    def _verified(self, token: str, started: Started) -> dict[str, Any]:
        from joserfc import jwt
        from joserfc.errors import JoseError
        from joserfc.jwk import KeySet

        try:
            key_set = self._request("GET", self._endpoint("jwks_uri"))
            keys = KeySet.import_key_set(key_set)  # type: ignore[arg-type]
            decoded = jwt.decode(token, keys, algorithms=ALGORITHMS)
            rules = jwt.JWTClaimsRegistry(
                leeway=LEEWAY_S,
                iss={"essential": True, "value": self._metadata_now()["issuer"]},
                aud={"essential": True, "value": self._client},
                exp={"essential": True},
                iat={"essential": True},
                nonce={"essential": True, "value": started.nonce},
            )
            rules.validate(decoded.claims)
        except (JoseError, ValueError, KeyError, TypeError) as error:
            raise AccountRefused(f"the provider's ID token is not good: {type(error).__name__}") from None
        claims: dict[str, Any] = decoded.claims
        if isinstance(claims["aud"], list) and len(claims["aud"]) > 1 and claims.get("azp") != self._client:
            raise AccountRefused("the provider's ID token is for another service")
        if started.confirms and not _is_recent(claims.get("auth_time")):
            raise AccountRefused("the provider did not ask again who you are")
        return claims

    def _endpoint(self, name: str) -> str:
        endpoint = self._metadata_now().get(name)
        if not isinstance(endpoint, str) or urlsplit(endpoint).scheme != urlsplit(self._issuer).scheme:
            raise InputError(f"the sign-in provider names no {name.replace('_', ' ')} that can be used")
        return endpoint

    def _metadata_now(self) -> dict[str, Any]:
        cached = self._metadata
        if cached is None or time.monotonic() - cached[0] > METADATA_FOR_S:
            found = self._request("GET", f"{self._issuer}{_PATH}")
            if str(found.get("issuer", "")).rstrip("/") != self._issuer:
                raise InputError("FIELDFARE_PROVIDER_URL: the provider names another issuer")
            cached = self._metadata = (time.monotonic(), found)
        return cached[1]

    def _request(
        self, method: str, url: str, form: dict[str, str] | None = None, auth: tuple[str, str] | None = None
    ) -> dict[str, Any]:
        try:
            return self._outgoing.json(method, url, form, auth)
        except Unreachable as error:
            raise InputError(f"the sign-in provider can't be asked: {error}") from None


def _challenge(verifier: str) -> str:
    from authlib.oauth2.rfc7636 import create_s256_code_challenge  # type: ignore[import-untyped]

    return str(create_s256_code_challenge(verifier))


def _is_recent(moment: object) -> bool:
    return isinstance(moment, int | float) and abs(time.time() - moment) < STARTED_FOR_S + LEEWAY_S
