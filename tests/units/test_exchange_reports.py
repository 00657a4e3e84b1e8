"""Order sheets, mails, calendars and pages, read back by other means."""

import email
import email.policy
import re
from datetime import UTC, date, datetime

import pypdfium2
import pytest

from stock.exchange.calendar_files import Occasion, calendar_bytes
from stock.exchange.mail_files import mail_bytes
from stock.exchange.pages import report_pdf
from stock.exchange.reports import (
    OrderSheet,
    OrderSheetLine,
    Report,
    order_report,
    report_html,
    report_text,
)
from stock.exchange.tables import Table

MADE = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
SHEET = OrderSheet(
    purchase="P-88",
    supplier="North Ink Supply",
    shop="Our Shop",
    ordered_on=date(2026, 11, 25),
    currency="EUR",
    lines=[
        OrderSheetLine("W-1800", "White ink", 2, "1.8 L", 18900),
        OrderSheetLine("T-L", "Tee, black, L", 72, "1", 215),
    ],
    promised_on=date(2026, 12, 1),
    freight_minor=890,
    notes=("Mornings only.",),
)


def pdf_text(made: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(made)
    texts = [page.get_textpage().get_text_bounded() for page in document]
    document.close()
    return texts


def test_an_order_sheet_adds_up_its_lines_and_freight():
    assert SHEET.total_minor == 2 * 18900 + 72 * 215 + 890
    text = report_text(order_report(SHEET))
    assert re.search(r"Total +541\.70", text)
    assert "Wanted by: 2026-12-01" in text
    assert "Mornings only." in text


def test_an_order_sheets_page_shows_the_same_figures():
    [page] = pdf_text(report_pdf(order_report(SHEET), made=MADE))
    for shown in ("Purchase order P-88", "W-1800", "154.80", "541.70", "page 1 of 1"):
        assert shown in page


def test_a_long_table_repeats_its_header_on_every_page():
    rows = [(f"ITEM-{number}", number) for number in range(150)]
    pages = pdf_text(
        report_pdf(Report("List", (), (Table("t", ("Item", "Packs"), rows),)), made=MADE)
    )
    assert len(pages) > 1
    assert all("Packs" in page for page in pages)
    assert all(f"ITEM-{number}" in "".join(pages) for number in range(150))


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_pages_take_any_text_and_many_columns(paper):
    wide = Table(
        "w", [f"Column {n}" for n in range(12)], [[f"Győr 日本 \x1b {n}" for n in range(12)]]
    )
    empty = Table("e", ("a",), [])
    long = Table("l", ("a", "b"), [("x" * 400, "word " * 300)])
    [page, *_] = pdf_text(
        report_pdf(Report("Über €", (("k", "v"),), (wide, empty, long, "")), made=MADE, paper=paper)
    )
    assert "Über €" in page
    assert "Gyor ??" in page


def test_the_same_report_makes_the_same_pages():
    report = order_report(SHEET)
    assert report_pdf(report, made=MADE) == report_pdf(report, made=MADE)


def test_a_mail_has_text_html_and_its_files():
    made = mail_bytes(
        order_report(SHEET),
        made=MADE,
        to="orders@example.com",
        sender="shop@example.org",
        attachments=[("P-88.pdf", b"%PDF-"), ("odd.zzz", b"\x00")],
    )
    message = email.message_from_bytes(made, policy=email.policy.default)
    assert message["Subject"] == "Purchase order P-88"
    assert message["To"] == "orders@example.com"
    assert message["Date"].datetime == MADE
    text = message.get_body(("plain",))
    page = message.get_body(("html",))
    assert text is not None
    assert page is not None
    assert "541.70" in text.get_content()
    assert "541.70" in page.get_content()
    assert [part.get_filename() for part in message.iter_attachments()] == ["P-88.pdf", "odd.zzz"]
    assert b"\r\n" in made


@pytest.mark.parametrize(
    "address", ["a@example.com\r\nBcc: x@example.com", "nobody", "a@", "a@b", "<>", "\x1b@x.y"]
)
def test_an_address_that_is_none_or_smuggles_a_header_is_refused(address: str):
    with pytest.raises(ValueError, match="is not a mail address"):
        mail_bytes(Report("x"), made=MADE, to=address)


def test_a_subject_cannot_start_a_header_of_its_own():
    made = mail_bytes(Report("x\r\nBcc: evil@example.com"), made=MADE)
    message = email.message_from_bytes(made, policy=email.policy.default)
    assert message["Bcc"] is None
    assert "\n" not in message["Subject"]


def test_html_shows_what_would_be_markup():
    page = report_html(Report("<b>", (("<i>", "&"),), ("<script>",)))
    assert "<script>" not in page
    assert "<i>" not in page
    assert "&lt;b&gt;" in page


def test_a_calendar_keeps_to_rfc_5545():
    occasions = [
        Occasion("expiry/INK-W/L-1", date(2027, 6, 30), "Use up; lot L-1, " + "ä" * 60, "1\n2", 14),
        Occasion("order/NORTH", date(2026, 12, 31), "Order day"),
    ]
    made = calendar_bytes(occasions, name="Shop", made=MADE)
    lines = made.split(b"\r\n")
    assert b"\n" not in made.replace(b"\r\n", b"")  # 3.1: lines end with CRLF
    assert all(len(line) <= 75 for line in lines)  # 3.1: folded at 75 octets
    text = made.replace(b"\r\n ", b"").decode()
    assert text.startswith("BEGIN:VCALENDAR\r\n")
    assert text.endswith("END:VCALENDAR\r\n")
    assert text.count("BEGIN:VEVENT") == text.count("DTSTAMP:20261125T093000Z") == 2
    assert "DTSTART;VALUE=DATE:20270630" in text
    assert "DTEND;VALUE=DATE:20270701" in text  # 3.6.1: the end is not part of the event
    assert "DTEND;VALUE=DATE:20270101" in text
    assert "SUMMARY:Use up\\; lot L-1\\, ä" in text  # 3.3.11: escaped text
    assert "DESCRIPTION:1\\n2" in text
    assert "TRIGGER:-P14D" in text or "TRIGGER:-P2W" in text
    assert "UID:expiry/INK-W/L-1@stock" in text


def test_moments_without_a_time_zone_are_refused():
    naive = MADE.replace(tzinfo=None)
    with pytest.raises(ValueError, match="time zone"):
        calendar_bytes([], name="x", made=naive)
    with pytest.raises(ValueError, match="time zone"):
        mail_bytes(Report("x"), made=naive)
