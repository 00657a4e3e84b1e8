"""A mail as an ``.eml`` file: text and HTML of a report, and files with it.

Nothing is sent. The file opens as a draft in a mail program; a person reads and sends it.
"""

from __future__ import annotations

import mimetypes
import re
from collections.abc import Sequence
from datetime import datetime
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from typing import Final

from stock.exchange.reports import Report, report_html, report_text
from stock.exchange.safe_text import safe_text

_ADDRESS: Final = re.compile(r"[\w.!#$%&'*+/=?^`{|}~-]+@(?:[\w-]+\.)+[\w-]{2,}", re.ASCII)


def mail_bytes(
    report: Report,
    *,
    made: datetime,
    to: str = "",
    sender: str = "",
    attachments: Sequence[tuple[str, bytes]] = (),
) -> bytes:
    """The report as a mail.

    Args:
        report: Its title is the subject.
        made: Date of the mail, with its time zone.
        to, sender: Addresses; may stay empty and be filled in by the mail program.
        attachments: (file name, content) pairs.

    Raises:
        ValueError: An address is not one, or ``made`` has no time zone.
    """
    if made.tzinfo is None:
        raise ValueError("the date of a mail needs its time zone")
    message = EmailMessage(policy=SMTP)
    message["Subject"] = safe_text(report.title, longest=200)
    for header, address in (("From", sender), ("To", to)):
        if address:
            message[header] = _addresses(address)
    message["Date"] = format_datetime(made)
    message["X-Unsent"] = "1"
    message.set_content(report_text(report))
    message.add_alternative(report_html(report), subtype="html")
    for name, content in attachments:
        kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
        main, _, sub = kind.partition("/")
        message.add_attachment(content, maintype=main, subtype=sub, filename=safe_text(name))
    return message.as_bytes()


def _addresses(text: str) -> str:
    """Plain addresses, commas between them; anything else could start a header of its own."""
    parts = [part.strip(" ") for part in text.split(",")]
    if not all(_ADDRESS.fullmatch(part) for part in parts):
        raise ValueError(f"{safe_text(text)!r} is not a mail address")
    return ", ".join(parts)
