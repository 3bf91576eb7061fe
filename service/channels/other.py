"""Every other way to tell the user, through the apprise library (extra `notify`)."""

from __future__ import annotations

from typing import Any

from service.errors import DeliveryError
from service.model.deals import Notice

MISSING = 'kind = "apprise" needs its library: pip install "ebbmark[notify]"'


class AppriseChannel:
    """Option `url`: where to send, as apprise writes it."""

    def __init__(self, name: str, url: str) -> None:
        self.name = name
        self._url = url
        self._made: Any = None

    async def send(self, notice: Notice) -> None:
        """Raises DeliveryError; the library does not say why, so another try may help."""
        if not await self._sender().async_notify(body=notice.text, title=notice.subject):
            raise DeliveryError("the service did not take the notice", retry=True)

    def _sender(self) -> Any:
        if self._made is None:
            self._made = _sender(self.name, self._url)
        return self._made


def _sender(name: str, url: str) -> Any:
    try:
        import apprise  # noqa: PLC0415  an extra, and slow to load
    except ImportError:
        raise DeliveryError(MISSING, retry=False) from None
    sender = apprise.Apprise()
    if not sender.add(url):
        raise DeliveryError(f"channel {name}: no such kind of url", retry=False)
    return sender
