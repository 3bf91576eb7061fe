"""A webhook: the notice as JSON, posted through the same guard as every request."""

from __future__ import annotations

import hashlib
import hmac
import json
from typing import Any

import httpx

from scrapers import FetchError, GuardError
from service.errors import DeliveryError
from service.model.deals import Notice

TIMEOUT = 15.0
AGAIN_LATER = (408, 425, 429)


class WebhookChannel:
    """POSTs `{"key", "subject", "text", "data", "at"}` to one URL.

    `Idempotency-Key` is the notice's key at every try. With a secret the body
    is signed: `X-Ebbmark-Signature: sha256=HEX` (HMAC, RFC 2104).
    """

    def __init__(
        self, name: str, url: str, transport: httpx.AsyncBaseTransport, secret: str | None = None
    ) -> None:
        self.name = name
        self._url = url
        self._transport = transport
        self._secret = secret

    async def send(self, notice: Notice) -> None:
        """Raises DeliveryError; a refusal (4xx) is final, all else may be tried again."""
        body = json.dumps(payload(notice), ensure_ascii=False, sort_keys=True).encode()
        try:
            async with httpx.AsyncClient(
                transport=self._transport, timeout=TIMEOUT, trust_env=False
            ) as client:
                headers = self._headers(notice, body)
                answer = await client.post(self._url, content=body, headers=headers)
        except httpx.HTTPError as error:
            raise DeliveryError(f"{type(error).__name__}: {error}", retry=True) from error
        except FetchError as error:  # refused by our own guard: the address will not change
            again = not isinstance(error, GuardError)
            raise DeliveryError(error.reason, retry=again) from error
        if not answer.is_success:
            final = answer.is_client_error and answer.status_code not in AGAIN_LATER
            raise DeliveryError(f"the receiver answered {answer.status_code}", retry=not final)

    def _headers(self, notice: Notice, body: bytes) -> dict[str, str]:
        headers = {"Content-Type": "application/json", "Idempotency-Key": notice.key}
        if self._secret:
            mac = hmac.new(self._secret.encode(), body, hashlib.sha256).hexdigest()
            headers["X-Ebbmark-Signature"] = f"sha256={mac}"
        return headers


def payload(notice: Notice) -> dict[str, Any]:
    """The JSON body of a notice."""
    return {
        "key": notice.key,
        "subject": notice.subject,
        "text": notice.text,
        "data": notice.data,
        "at": notice.created_at.isoformat().replace("+00:00", "Z"),
    }
