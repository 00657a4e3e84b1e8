"""Importers of what happened: deliveries, prints, counts, weighings, ink per job."""

from __future__ import annotations

from collections import Counter

from stock.book.posting import Posting
from stock.clock import now_utc
from stock.errors import Refused, Unknown
from stock.shop.imports import Import
from stock.shop.imports.names import expected
from stock.shop.lookup import Lookup
from stock.shop.printing import PrintLog, PrintPoster, settle_orders
from stock.shop.receive import Delivery, DeliveryPoster, settle_purchases

ROWS_AHEAD = 2_000
"""Rows posted before they are written (in the one transaction of the file): a file of any length
takes no more memory than that many."""


def write_some(job: Import, posting: Posting) -> None:
    """Write what was posted now and then; after a fault nothing will be kept, so nothing is."""
    if job.done.new % ROWS_AHEAD == 0 and not job.rows.faults:
        posting.flush()


class Refs:
    """Natural keys of rows: given or made, counted when a file repeats one on purpose."""

    def __init__(self, job: Import, kind: str) -> None:
        self.job, self.kind = job, kind
        self.times: Counter[str] = Counter()
        self.known = _all_refs(job, kind)

    def of(self, *parts: object) -> str:
        """The reference of a row; the second row of the same key is another one."""
        key = f"{self.kind}:" + "/".join(str(part) for part in parts)
        self.times[key] += 1
        return key if self.times[key] == 1 else f"{key}#{self.times[key]}"

    def has(self, ref: str) -> bool:
        """Whether the book has it already; counts the row as known."""
        if ref in self.known:
            self.job.count("known")
            return True
        return False


def _all_refs(job: Import, kind: str) -> set[str]:
    from sqlalchemy import select

    from stock.book.tables import entry

    found = job.connection.scalars(
        select(entry.c.source_ref).where(entry.c.source_ref.like(f"{kind}:%"))
    )
    return {ref for ref in found if ref is not None}


def take_deliveries(job: Import) -> None:
    """Deliveries: every row one lot onto a shelf."""
    posting = Posting(job.connection, who=job.who, at=now_utc())
    lookup = Lookup(job.connection, whole=True)
    poster = DeliveryPoster(posting, lookup)
    refs = Refs(job, "delivery")
    purchases: list[str] = []
    for row in job.rows:
        code = row["code"]
        gtin = (code.gtin or "") if code is not None else ""
        if code is not None and code.suspect:
            job.rows.fault(row, "code", code.text, "; ".join(code.warnings))
            continue
        ref = refs.of(row["delivery"], row["sku"] or gtin, row["lot"] or "", row["owner"] or "")
        if refs.has(ref):
            continue
        try:
            amount = None
            if row["amount"] is not None:
                unit = "mL"
                if row["sku"]:
                    unit = lookup.item(row["sku"]).unit
                else:
                    chosen = lookup.pack_by_gtin(gtin)
                    if chosen is not None:
                        unit = lookup.item_by_id(chosen.item_id).unit
                amount = row["amount"].in_unit(unit)
            delivery = Delivery(
                on=row["received_on"],
                sku=row["sku"] or "",
                gtin=gtin,
                packs=row["packs"],
                amount=amount,
                lot=row["lot"] or "",
                expires=row["expires"],
                produced=code.produced if code is not None else None,
                supplier=row["supplier"] or "",
                purchase=row["purchase"] or "",
                cost_minor=None if row["cost"] is None else round(row["cost"]),
                certificate=row["certificate"] or "",
                certificate_expiry=row["certificate_expires"],
                data_sheet=row["data_sheet"] or "",
                owner=row["owner"] or "",
                place=row["place"] or "SHELF",
                source_ref=ref,
            )
            received = poster.post(delivery)
        except Unknown as error:
            if job.names.known(row):
                job.rows.fault(row, _column(error.what), error.name, expected(error.what, error))
            continue
        except (Refused, ValueError) as error:
            job.rows.fault(row, "", "this row", str(error))
            continue
        if delivery.purchase:
            purchases.append(delivery.purchase)
        if any("past its date" in note for note in received.notes):
            job.done.notes.append(f"line {row.line}: {received.notes[0]}")
        job.count("new")
        write_some(job, posting)
    if not job.rows.faults:
        posting.flush()
        settle_purchases(job.connection, purchases)


def _column(what: str) -> str:
    names = {"item": "sku", "purchase order": "purchase", "item with the barcode": "code"}
    return names.get(what, what)


def take_prints(job: Import) -> None:
    """Print runs in the order of their days; a dry slot is taken to have been refilled."""
    posting = Posting(job.connection, who=job.who, at=now_utc())
    poster = PrintPoster(posting, assume_swaps=True, whole=True)
    refs = Refs(job, "print")
    logs: list[tuple[int, PrintLog]] = []
    for row in job.rows:
        ref = (
            refs.of(row["ref"])
            if row["ref"]
            else refs.of(row["order"], row["line"], row["printed_on"], row["printer"] or "")
        )
        if refs.has(ref):
            continue
        logs.append(
            (
                row.line,
                PrintLog(
                    order=row["order"],
                    line=row["line"],
                    good=row["good"],
                    misprints=row["misprints"],
                    on=row["printed_on"],
                    printer=row["printer"] or "",
                    location=row["location"] or "",
                    source_ref=ref,
                ),
            )
        )
    logs.sort(key=lambda pair: (pair[1].on, pair[0]))
    overruns = 0
    for line, log in logs:
        try:
            printed = poster.post(log)
        except Unknown as error:
            job.rows.fault(line, error.what, error.name, expected(error.what, error))
            continue
        except Refused as error:
            job.rows.fault(line, "order", f"{log.order}/{log.line}", str(error))
            continue
        overruns += bool(printed.overruns)
        job.count("new")
        write_some(job, posting)
    if job.rows.faults:
        return
    posting.flush()
    settle_orders(job.connection, [log.order for _, log in logs])
    if poster.feeder.swaps_assumed:
        job.done.notes.append(
            f"{poster.feeder.swaps_assumed} refills were assumed where a slot had too little."
        )
    if overruns:
        job.done.notes.append(f"{overruns} runs asked for more than the book had (overruns).")


def take_counts(job: Import) -> None:
    """Count sheets: differences posted with their reason, one entry a row."""
    from stock.shop.counting import CountRow, post_count

    posting = Posting(job.connection, who=job.who, at=now_utc())
    lookup = Lookup(job.connection, whole=True)
    refs = Refs(job, "count")
    for row in job.rows:
        day = row["counted_on"] or job.on
        ref = (
            refs.of(row["ref"])
            if row["ref"]
            else refs.of(
                *(row["place"], row["sku"], row["lot"] or "", row["container"] or "", day),
                *([row["owner"]] if row["owner"] else []),
            )
        )
        if refs.has(ref):
            continue
        try:
            counted = CountRow(
                place=row["place"],
                sku=row["sku"],
                counted=row["counted"].in_unit(lookup.item(row["sku"]).unit),
                lot=row["lot"] or "",
                container=row["container"] or "",
                owner=row["owner"] or "",
            )
            reason = row["reason"] or "count"
            found = post_count(posting, [counted], reason, on=day, source_ref=ref)
            job.done.notes += map(str, found.differences)
        except Unknown as error:
            column = {"shelf": "place"}.get(error.what, _column(error.what))
            job.rows.fault(row, column, error.name, expected(error.what, error))
            continue
        except (Refused, ValueError) as error:
            job.rows.fault(row, "counted", "this row", str(error))
            continue
        job.count("new")
        write_some(job, posting)
    if not job.rows.faults:
        posting.flush()


def take_weighings(job: Import) -> None:
    """Containers on the scale, by gross weight, in the order of their days."""
    from stock.shop.weighing import Weighing, post_weighing

    posting = Posting(job.connection, who=job.who, at=now_utc())
    refs = Refs(job, "weigh")
    for row in sorted(job.rows, key=lambda row: (row["weighed_on"], row.line)):
        what = row["slot"] or row["container"]
        ref = refs.of(row["ref"]) if row["ref"] else refs.of(what, row["weighed_on"])
        if refs.has(ref):
            continue
        weighing = Weighing(what, row["grams"], row["weighed_on"], source_ref=ref)
        try:
            post_weighing(posting, weighing)
        except Unknown as error:
            column = "slot" if row["slot"] else "container"
            job.rows.fault(row, column, error.name, expected(error.what, error))
            continue
        except (Refused, ValueError) as error:
            job.rows.fault(row, "grams", row["grams"], str(error))
            continue
        job.count("new")
    if not job.rows.faults:
        posting.flush()


def take_jobink(job: Import) -> None:
    """Ink per job from the printer's own log: readings for calibration, no stock moves."""
    from stock.book.tables import reading
    from stock.ink.mode import CHANNELS

    posting = Posting(job.connection, who=job.who, at=now_utc())
    lookup = Lookup(job.connection, whole=True)
    refs = Refs(job, "jobink")
    for row in job.rows:
        ref = refs.of(row["printer"], row["job"], row["printed_on"])
        if refs.has(ref):
            continue
        try:
            printer_id = lookup.printer(row["printer"]).id
        except Unknown as error:
            job.rows.fault(row, "printer", error.name, expected("printer", error))
            continue
        entry_id = posting.entry(
            "jobink",
            row["printed_on"],
            source_ref=ref,
            note=f"{row['order'] or ''}/{row['line'] or ''}" if row["order"] else "",
        )
        for channel in CHANNELS:
            if row[channel] is not None:
                posting.add(
                    reading,
                    entry_id=entry_id,
                    kind="jobink",
                    day=row["printed_on"],
                    printer_id=printer_id,
                    channel=channel,
                    used_ml=row[channel],
                    pieces=float(row["pieces"]),
                    job=row["job"],
                )
        job.count("new")
    if not job.rows.faults:
        posting.flush()
