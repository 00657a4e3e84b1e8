"""Importers of what the shop knows: items, packs, suppliers, printers, modes, artworks."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, insert, select, update

from stock.book.tables import (
    artwork,
    artwork_share,
    barcode,
    item,
    pack,
    place,
    print_mode,
    printer,
    rate,
    supplier,
)
from stock.ink.mode import CHANNELS, PrintMode, prior_rates
from stock.shop.imports import Import
from stock.shop.imports.upsert import Upsert
from stock.units import parse_decimal

if TYPE_CHECKING:
    from stock.exchange.rows import Row

BEGINNING = date(1970, 1, 1)
"""Rates stated by the shop hold from here on, before any calibration."""

STATED_RATE_SPREAD = 0.3
"""Standard deviation of a rate the shop states, as a share of it: judgement, no source."""


def minor(value: Any) -> int:
    """Money as whole minor units; none given is nothing."""
    return 0 if value is None else round(value)


def given(row: Mapping[str, Any], *names: str) -> dict[str, Any]:
    """The named columns that the row fills; empty ones keep the table's default."""
    return {name: row[name] for name in names if row[name] is not None}


def take_items(job: Import) -> None:
    """Items: inks, pretreats, blanks, supplies."""
    upsert = Upsert(job, item, "sku")
    named: list[tuple[int, str, str]] = []
    skus = {key[0] for key in upsert.there}
    moved = {
        row.id: row.unit
        for row in job.connection.execute(
            select(item.c.id, item.c.unit).where(
                item.c.id.in_(select(pack.c.item_id).union(select(place.c.item_id)))
            )
        )
    }
    job.rows.on_faulty = lambda row: skus.add(row["sku"])
    for row in job.rows:
        values = {
            "sku": row["sku"],
            "kind": row["kind"],
            "unit": row["unit"],
            "reorder": row["reorder"],
        } | given(
            row,
            *("name", "channel", "style", "colour", "size", "shade", "density_g_per_ml"),
            *("open_life_days", "shelf_life_days", "service", "service_kind", "waste_risk"),
            *("every_prints", "every_days", "amount_per_service", "pretreat_mg_per_cm2"),
            *("replaces", "mixed_from", "mix_ratio", "mix_life_days"),
        )
        if row["shortage_cost"] is not None:
            values["shortage_cost_minor"] = row["shortage_cost"]
        before = upsert.there.get((row["sku"],))
        if before is not None and before["unit"] != row["unit"] and before["id"] in moved:
            job.rows.fault(row, "unit", row["unit"], f"{before['unit']}, as the book keeps it")
            continue
        skus.add(row["sku"])
        named += [(row.line, n, row[n]) for n in ("replaces", "mixed_from") if row[n]]
        job.count(upsert.row(row.line, values)[1])
    upsert.flush()
    for line, column, sku in named:
        if sku not in skus:
            job.rows.fault(line, column, sku, "an item of the book or of this file")


def take_suppliers(job: Import) -> None:
    """Suppliers with their terms."""
    from stock.clock import calendar_of

    upsert = Upsert(job, supplier, "code")
    for row in job.rows:
        if row["country"]:
            try:
                calendar_of(country=row["country"], years=[job.on.year])
            except ValueError:
                job.rows.fault(row, "country", row["country"], "an ISO 3166 country with holidays")
                continue
        values = {
            "code": row["code"],
            "lead_days": row["lead_days"],
            "order_days": row["order_days"] or "",
            "cut_off_hour": row["cut_off_hour"],
            "closed": [day.isoformat() for day in row["closed"] or ()],
            "order_cost_minor": minor(row["order_cost"]),
            "line_cost_minor": minor(row["line_cost"]),
            "minimum_minor": minor(row["minimum"]),
            "freight_minor": minor(row["freight"]),
            "free_freight_minor": minor(row["free_freight"]),
        } | given(row, "name", "email", "lead_sd_days", "country", "currency")
        job.count(upsert.row(row.line, values)[1])
    upsert.flush()


def take_packs(job: Import) -> None:
    """Packs of items as suppliers sell them, with the GTIN on the box."""
    lookup = job.names.lookup
    upsert = Upsert(job, pack, "supplier_id", "code")
    tied: dict[str, int] = {
        row.gtin: row.pack_id for row in job.connection.execute(select(barcode))
    }
    fresh: list[dict[str, Any]] = []
    for row in job.rows:
        if not job.names.known(row):
            continue
        the_item, supplier_id = lookup.item(row["sku"]), lookup.supplier(row["supplier"]).id
        try:
            amount = row["amount"].in_unit(the_item.unit)
            rest = (
                0 if row["unusable_rest"] is None else row["unusable_rest"].in_unit(the_item.unit)
            )
        except ValueError as error:
            job.rows.fault(row, "amount", row["amount"], str(error))
            continue
        values = {
            "item_id": the_item.id,
            "supplier_id": supplier_id,
            "code": row["code"],
            "amount": amount,
            "price_minor": minor(row["price"]),
            "multiple": row["multiple"],
            "min_packs": row["min_packs"],
            "breaks_kind": row["break_kind"],
            "breaks": [list(step) for step in row["breaks"] or ()],
            "shelf_life_days": row["shelf_life_days"],
            "preferred": row["preferred"],
            "unusable_rest": rest,
            "tare_mg": None if row["tare_g"] is None else round(row["tare_g"] * 1000),
        }
        pack_id, was = upsert.row(row.line, values)
        if row["gtin"] and pack_id:
            before = tied.get(row["gtin"])
            if before is not None and before != pack_id:
                job.rows.fault(row, "gtin", row["gtin"], "a GTIN not yet tied to another pack")
            elif before is None:
                tied[row["gtin"]] = pack_id
                fresh.append({"gtin": row["gtin"], "pack_id": pack_id})
                was = "changed" if was == "known" else was
        job.count(was)
    upsert.flush()
    if fresh:
        job.connection.execute(insert(barcode), fresh)


def take_printers(job: Import) -> None:
    """Printers: one row a slot, with the rates the shop states for its channel."""
    upsert = Upsert(job, place, "code")
    prior = prior_rates(PrintMode())
    for row in job.rows:
        unit, item_id = "mL", None
        if row["item"]:
            if not job.names.known(row):
                continue
            the_item = job.names.lookup.item(row["item"])
            unit, item_id = the_item.unit, the_item.id
        before = upsert.there.get((row["slot"],))
        if before is not None and before["kind"] != "slot":
            job.rows.fault(row, "slot", row["slot"], f"another code; a {before['kind']} has it")
            continue
        printer_id = _printer(job, row["printer"])
        values = {
            "code": row["slot"],
            "kind": "slot",
            "printer_id": printer_id,
            "channel": row["channel"],
            "feed": row["feed"],
            "item_id": item_id,
            "capacity": None if row["capacity"] is None else row["capacity"].in_unit(unit),
            "unusable_rest": 0
            if row["unusable_rest"] is None
            else row["unusable_rest"].in_unit(unit),
        }
        was = upsert.row(row.line, values)[1]
        was = _stated_rate(job, row, printer_id, prior[row["channel"]], was)
        job.count(was)
    upsert.flush()


def _printer(job: Import, code: str) -> int:
    found = job.connection.scalar(select(printer.c.id).where(printer.c.code == code))
    if found is not None:
        return int(found)
    made = job.connection.execute(insert(printer).values(code=code)).inserted_primary_key
    assert made is not None
    return int(made[0])


def _stated_rate(job: Import, row: Mapping[str, Any], printer_id: int, prior: Any, was: str) -> str:
    names = ("per_print_ml", "per_start_ml", "per_day_ml")
    if all(row[name] is None for name in names):
        return was
    values: dict[str, Any] = {}
    for name in names:
        stated = row[name]
        values[name] = getattr(prior, name) if stated is None else stated
        values[f"{name}_sd"] = (
            getattr(prior, f"{name}_sd") if stated is None else stated * STATED_RATE_SPREAD
        )
    key = (
        (rate.c.printer_id == printer_id)
        & (rate.c.channel == row["channel"])
        & (rate.c.mode == "")
        & (rate.c.valid_from == BEGINNING)
    )
    before = job.connection.execute(select(rate).where(key)).mappings().one_or_none()
    if before is None:
        job.connection.execute(
            insert(rate).values(
                printer_id=printer_id,
                channel=row["channel"],
                mode="",
                valid_from=BEGINNING,
                **values,
            )
        )
        return "changed" if was == "known" else was
    if any(before[name] != value for name, value in values.items()):
        job.connection.execute(update(rate).where(key).values(values))
        return "changed" if was == "known" else was
    return was


def take_modes(job: Import) -> None:
    """Print modes; a printed past keeps the rates it was posted with."""
    upsert = Upsert(job, print_mode, "code")
    plain = (
        *("dpi", "white_method", "white_strength", "white_under_black", "highlight_strength"),
        *("white_layers", "choke_px", "ink_limit", "gcr", "knock_out_black"),
        *("knock_out_tolerance", "optical_gain"),
    )
    for row in job.rows:
        default = PrintMode()
        parameters: dict[str, Any] = given(row, *plain)
        drops = dict(default.drop_pl)
        if row["drop_pl_colour"] is not None:
            drops |= dict.fromkeys("CMYK", row["drop_pl_colour"])
        if row["drop_pl_white"] is not None:
            drops["W"] = row["drop_pl_white"]
        parameters["drop_pl"] = drops
        passes = {ch: row[f"passes_{ch}"] for ch in CHANNELS if row[f"passes_{ch}"] is not None}
        parameters["passes"] = {**default.passes, **passes}
        laid = {ch: row[f"laydown_{ch}"] for ch in CHANNELS if row[f"laydown_{ch}"] is not None}
        if laid:
            parameters["laydown_ul_per_cm2"] = laid
        curves, wrong = _curves(row)
        for column in wrong:
            job.rows.fault(row, column, row[column], "rising tones from 0 to 100, as 50=40 100=96")
        if wrong:
            continue
        if curves:
            parameters["tone_curve"] = curves
        if row["cmyk_profile"]:
            profile = job.folder / row["cmyk_profile"]
            if not profile.is_file():
                job.rows.fault(row, "cmyk_profile", row["cmyk_profile"], "a profile file")
                continue
            parameters["cmyk_profile"] = str(profile.resolve())
        printer_id = None
        if row["printer"]:
            if not job.names.known(row):
                continue
            printer_id = job.names.lookup.printer(row["printer"]).id
        values = {"code": row["code"], "printer_id": printer_id, "parameters": parameters}
        was = upsert.row(row.line, values)[1]
        if was == "changed":
            job.connection.execute(delete(artwork_share).where(artwork_share.c.mode == row["code"]))
        job.count(was)
    upsert.flush()


def _curves(row: Row) -> tuple[dict[str, list[list[float]]], list[str]]:
    """Tone curves by channel, shares of full tone from nothing on; and columns that hold none."""
    curves: dict[str, list[list[float]]] = {}
    wrong: list[str] = []
    for channel in CHANNELS:
        written = row[f"curve_{channel}"]
        if not written:
            continue
        points = [[0.0, 0.0]]
        try:
            for pair in written.replace("%", "").split():
                tone, laid = (float(parse_decimal(side)) / 100 for side in pair.split("="))
                if tone == 0:
                    points = []
                points.append([tone, laid])
        except ValueError:
            points = []
        tones = [tone for tone, _ in points]
        rising = all(a < b for a, b in pairwise(tones))
        if len(points) < 2 or not rising or not all(0 <= x <= 1 for one in points for x in one):
            wrong.append(f"curve_{channel}")
        curves[channel] = points
    return curves, wrong


def take_artworks(job: Import) -> None:
    """Artworks: where each file is and its content hash; a changed file is measured anew."""
    upsert = Upsert(job, artwork, "code")
    for row in job.rows:
        path = job.folder / row["file"]
        if not path.is_file():
            job.rows.fault(row, "file", row["file"], "a picture file beside or below this file")
            continue
        with path.open("rb") as opened:
            digest = hashlib.file_digest(opened, "sha256").hexdigest()
        values = {
            "code": row["artwork"],
            "title": row["title"] or "",
            "file": str(path.resolve()),
            "sha256": digest,
        }
        before = upsert.there.get((row["artwork"],))
        artwork_id, was = upsert.row(row.line, values)
        if was == "changed" and before is not None and before["sha256"] != digest:
            job.connection.execute(
                delete(artwork_share).where(artwork_share.c.artwork_id == artwork_id)
            )
        job.count(was)
    upsert.flush()
