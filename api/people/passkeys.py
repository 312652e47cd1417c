"""Passkeys (WebAuthn Level 3): options for the browser, and verification of its response."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from ipaddress import ip_address
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.accounts import AccountRefused

if TYPE_CHECKING:
    from webauthn.helpers.structs import PublicKeyCredentialDescriptor

TIMEOUT_MS = 120_000


@dataclass(frozen=True)
class MadePasskey:
    """A new passkey, as stored.

    credential, public_key : base64url; counter : the authenticator's signature count
    """

    credential: str
    public_key: str
    counter: int


@dataclass(frozen=True)
class PasskeySite:
    """The relying party. address : public URL; name : shown by authenticators"""

    address: str
    name: str = "fieldfare"

    @property
    def host(self) -> str:
        return (urlsplit(self.address).hostname or "").lower()

    @property
    def origin(self) -> str:
        parts = urlsplit(self.address)
        return f"{parts.scheme}://{parts.netloc}"

    @property
    def has_passkeys(self) -> bool:
        """Whether passkeys are possible: browsers need a host name over TLS, or localhost, not an IP
        address."""
        try:
            ip_address(self.host)
        except ValueError:
            return self.address.startswith("https://") or self.host == "localhost"
        return False

    def creation(self, person: int, email: str, challenge: str, known: Sequence[str]) -> str:
        """Options of navigator.credentials.create() as JSON. known : existing credentials, to be excluded"""
        from webauthn import generate_registration_options, options_to_json
        from webauthn.helpers.structs import (
            AuthenticatorSelectionCriteria,
            ResidentKeyRequirement,
            UserVerificationRequirement,
        )

        return options_to_json(
            generate_registration_options(
                rp_id=self.host,
                rp_name=self.name,
                user_name=email,
                user_id=f"person {person}".encode(),
                challenge=_bytes(challenge),
                timeout=TIMEOUT_MS,
                exclude_credentials=_descriptors(known),
                authenticator_selection=AuthenticatorSelectionCriteria(
                    resident_key=ResidentKeyRequirement.PREFERRED,
                    user_verification=UserVerificationRequirement.PREFERRED,
                ),
            )
        )

    def made(self, credential: str, challenge: str) -> MadePasskey:
        """Verify a browser's response to `creation`. Raises InputError if it is invalid."""
        from webauthn import verify_registration_response
        from webauthn.helpers import bytes_to_base64url
        from webauthn.helpers.exceptions import WebAuthnException

        try:
            right = verify_registration_response(
                credential=credential,
                expected_challenge=_bytes(challenge),
                expected_rp_id=self.host,
                expected_origin=self.origin,
            )
        except (WebAuthnException, ValueError, KeyError, TypeError) as error:
            raise InputError(f"this passkey can't be used: {_one_line(error)}") from None
        key = bytes_to_base64url(right.credential_public_key)
        return MadePasskey(bytes_to_base64url(right.credential_id), key, right.sign_count)

    def request(self, challenge: str, credentials: Sequence[str]) -> str:
        """Options of navigator.credentials.get() as JSON."""
        from webauthn import generate_authentication_options, options_to_json

        return options_to_json(
            generate_authentication_options(
                rp_id=self.host,
                challenge=_bytes(challenge),
                timeout=TIMEOUT_MS,
                allow_credentials=_descriptors(credentials),
            )
        )

    def credential_of(self, credential: str) -> str:
        """Id of the passkey that a browser used. Raises AccountRefused."""
        try:
            return str(json.loads(credential)["id"])
        except (ValueError, KeyError, TypeError, RecursionError):
            raise AccountRefused("the browser's answer can't be read") from None

    def signed(self, credential: str, challenge: str, public_key: str, counter: int) -> int:
        """Verify a browser's response to `request`; return the new signature count.

        Raises AccountRefused if it is invalid.
        """
        from webauthn import verify_authentication_response
        from webauthn.helpers.exceptions import WebAuthnException

        try:
            right = verify_authentication_response(
                credential=credential,
                expected_challenge=_bytes(challenge),
                expected_rp_id=self.host,
                expected_origin=self.origin,
                credential_public_key=_bytes(public_key),
                credential_current_sign_count=counter,
            )
        except (WebAuthnException, ValueError, KeyError, TypeError) as error:
            raise AccountRefused(f"this passkey was refused: {_one_line(error)}") from None
        return right.new_sign_count


def _descriptors(credentials: Sequence[str]) -> list[PublicKeyCredentialDescriptor]:
    from webauthn.helpers.structs import PublicKeyCredentialDescriptor

    return [PublicKeyCredentialDescriptor(id=_bytes(c)) for c in credentials]


def _bytes(text: str) -> bytes:
    from webauthn.helpers import base64url_to_bytes

    return base64url_to_bytes(text)


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())[:160]
