"""Mail by SMTP: one message a notice, its key in the Message-ID."""

from __future__ import annotations

import asyncio
import hashlib
import smtplib
import ssl
from email.message import EmailMessage
from email.utils import format_datetime

from service.errors import DeliveryError
from service.model.deals import Notice

TIMEOUT = 20.0


class MailChannel:
    """Options: host, port, sender, to, and user and password where the server wants them.

    STARTTLS is used where the server offers it, always before a password.
    """

    def __init__(self, name: str, options: dict[str, str]) -> None:
        self.name = name
        self._options = options

    async def send(self, notice: Notice) -> None:
        """Raises DeliveryError; 5xx answers are final."""
        await asyncio.to_thread(self._send, message(notice, self._options))

    def _send(self, mail: EmailMessage) -> None:
        host, port = self._options["host"], int(self._options.get("port", "587"))
        try:
            with smtplib.SMTP(host, port, timeout=TIMEOUT) as server:
                self._secure(server)
                server.send_message(mail)
        except smtplib.SMTPResponseException as error:
            raise DeliveryError(f"SMTP {error.smtp_code}", retry=error.smtp_code < 500) from error
        except (OSError, smtplib.SMTPException) as error:
            raise DeliveryError(f"{type(error).__name__}: {error}", retry=True) from error

    def _secure(self, server: smtplib.SMTP) -> None:
        server.ehlo()
        if server.has_extn("starttls"):
            server.starttls(context=ssl.create_default_context())
        if user := self._options.get("user"):
            if not server.has_extn("auth"):
                raise DeliveryError("the server takes no password here", retry=False)
            server.login(user, self._options.get("password", ""))


def message(notice: Notice, options: dict[str, str]) -> EmailMessage:
    """The mail of a notice; a hostile title cannot add a header line."""
    mail = EmailMessage()
    mail["Subject"] = " ".join(notice.subject.split())[:200]
    mail["From"] = options["sender"]
    mail["To"] = options["to"]
    mail["Date"] = format_datetime(notice.created_at)
    mail["Message-ID"] = f"<{hashlib.sha256(notice.key.encode()).hexdigest()[:32]}@ebbmark.invalid>"
    mail.set_content(notice.text)
    return mail
