"""The order sheet of a purchase order, as the file a supplier gets: PDF, CSV, workbook or mail."""

from __future__ import annotations

from stock.errors import Refused, WrongUsage
from stock.exchange.reports import OrderSheet, OrderSheetLine, order_report
from stock.shop.purchases import Purchase
from stock.shop.settings import Settings, load_settings

FORMATS = (".pdf", ".csv", ".xlsx", ".eml")


def order_sheet(purchase: Purchase, settings: Settings | None = None) -> OrderSheet:
    """What is still to be delivered of ``purchase``, laid out for its supplier."""
    known = settings or load_settings()
    return OrderSheet(
        purchase=purchase.ref,
        supplier=purchase.supplier_name or purchase.supplier,
        shop=known["shop"] or "–",
        ordered_on=purchase.sent_on or purchase.created_on,
        currency=purchase.currency,
        promised_on=purchase.promised_on,
        lines=[
            OrderSheetLine(
                line.pack,
                line.name or line.item,
                line.open_packs,
                f"{line.amount:,.6g} {line.unit}",
                line.price_minor,
            )
            for line in purchase.lines
            if line.open_packs
        ],
        notes=("Draft: not ordered yet.",) if purchase.state == "draft" else (),
    )


def order_file(purchase: Purchase, suffix: str) -> bytes:
    """The order sheet as a file of that kind.

    Raises:
        WrongUsage: Another kind than PDF, CSV, XLSX or EML.
        Refused: The supplier's mail address is none.
    """
    known = load_settings()
    report = order_report(order_sheet(purchase, known))
    if suffix.lower() in (".pdf", ".eml"):
        from stock.clock import now_utc
        from stock.exchange.pages import report_pdf

        made = now_utc().astimezone()
        pages = report_pdf(report, made=made, paper=known["paper"])
        if suffix.lower() == ".pdf":
            return pages
        from stock.exchange.mail_files import mail_bytes

        try:
            attached = [(f"{purchase.ref}.pdf", pages)]
            return mail_bytes(report, made=made, to=purchase.supplier_email, attachments=attached)
        except ValueError as error:
            raise Refused(f"Supplier {purchase.supplier}: {error}.") from None
    if suffix.lower() == ".xlsx":
        from stock.exchange.spreadsheets import workbook_bytes

        return workbook_bytes(report.tables)
    if suffix.lower() == ".csv":
        from stock.exchange.tables import csv_text

        comma = known["decimal_comma"]
        delimiter = ";" if comma else ","
        return csv_text(report.tables[0], delimiter=delimiter, decimal_comma=comma).encode()
    raise WrongUsage(f"--out ends with {suffix!r}: expected one of {', '.join(FORMATS)}.")
