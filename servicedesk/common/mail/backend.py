"""The mail backend used when no mail server is configured: nothing leaves, the outbox page shows it."""

from collections.abc import Sequence

from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.message import EmailMessage


class OutboxOnlyBackend(BaseEmailBackend):
    """Accepts nothing for delivery; the outbox keeps the message (see ``common.mail.send``)."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        return 0
