"""``stock calibrate`` from each thing a shop can read off its machine, by commands.

The machine lays 7 µL/cm² of white where the prior says 5.357 (12 pL × 2 drops at 1200 dpi,
calculated); cartridges, tank, counter and job log tell the truth.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from PIL import Image

FIRST = date(2026, 3, 2)
TRUE_UL_PER_CM2 = 7.0
PIECES = 50
WIDTH_CM = 30.0


@pytest.fixture
def press(shop, tmp_path):
    """P1 with white in a cartridge, P2 with white in a tank, and work for both."""
    Image.fromarray(np.full((60, 60, 4), 255, np.uint8), "RGBA").save(tmp_path / "white.png")
    files = {
        "printers": "printer,slot,channel,feed,capacity,item,per_day_ml\n"
        "P2,P2-W,W,tank,3 L,INK-W,0\n",
        "artworks": "artwork,file\nWHITE,white.png\n",
        "orders": "order,line,placed_on,due_on,blank,quantity,artwork,width_cm,printer\n"
        f"A1,1,2026-03-02,2026-06-12,TEE-BLK-L,1000,WHITE,{WIDTH_CM:g},P1\n"
        f"A2,1,2026-03-02,2026-06-12,TEE-BLK-L,1000,WHITE,{WIDTH_CM:g},P2\n",
    }
    for kind, text in files.items():
        (tmp_path / f"{kind}.csv").write_text(text)
        ran = shop("import", kind, str(tmp_path / f"{kind}.csv"), "--on", str(FIRST))
        assert ran.code == 0, ran.err
    for item, packs in (("INK-W", 16), ("TEE-BLK-L", 1500), ("PT", 9)):
        words = ("receive", "--item", item, "--packs", str(packs), "--lot", f"{item}-1")
        assert shop(*words, "--on", str(FIRST)).code == 0
    return shop


def done(run, past, *words):
    ran = run(*words, "--on", str(FIRST + timedelta(days=past)))
    assert ran.code == 0, ran.err


def printed(run, past, order, pieces=PIECES):
    done(run, past, "print", "--order", order, "--line", "1", "--good", str(pieces))


def used_ml(pieces=PIECES):
    return pieces * WIDTH_CM**2 * TRUE_UL_PER_CM2 / 1000


def fit(run, printer):
    rows = run("calibrate", "--printer", printer, "--json").json()
    return next(row for row in rows if row["channel"] == "W")


def found_ul_per_cm2(row):
    return row["per_cm2_ul"] + 1000 * row["per_print_ml"] / WIDTH_CM**2


def sources(row):
    return {residual["source"] for residual in row["residuals"]}


def test_cartridges_that_came_out_empty(press):
    per_cartridge = int(700 / used_ml(1))
    done(press, 0, "load", "P1-W", "--item", "INK-W")
    for past in range(1, 6):
        printed(press, past, "A1", per_cartridge)
        done(press, past, "load", "P1-W", "--item", "INK-W", "--old", "empty")
    row = fit(press, "P1")
    assert sources(row) == {"swap"}
    assert row["intervals"] == 5
    assert found_ul_per_cm2(row) == pytest.approx(TRUE_UL_PER_CM2, rel=0.03)


def test_a_tank_that_is_dipped_and_topped_up(press):
    for _ in range(4):
        done(press, 0, "load", "P2-W", "--item", "INK-W")
    level = 2800.0
    done(press, 0, "dip", "P2-W", "--level", f"{level:.0f} mL")
    for past in range(1, 7):
        printed(press, past, "A2", 2 * PIECES)
        level -= used_ml(2 * PIECES)
        if past % 2 == 0:
            done(press, past, "load", "P2-W", "--item", "INK-W")
            level += 700
        done(press, past, "dip", "P2-W", "--level", f"{level:.0f} mL")
    row = fit(press, "P2")
    assert sources(row) == {"dip"}
    assert found_ul_per_cm2(row) == pytest.approx(TRUE_UL_PER_CM2, rel=0.05)


def test_the_machines_own_counter(press):
    done(press, 0, "load", "P1-W", "--item", "INK-W")
    done(press, 0, "counter", "P1", "1000", "--channel", "W")
    for past in (1, 2):
        printed(press, past, "A1")
        shown = f"{1000 + past * used_ml():.1f}"
        done(press, past, "counter", "P1", shown, "--channel", "W")
    row = fit(press, "P1")
    assert sources(row) == {"counter"}
    assert found_ul_per_cm2(row) == pytest.approx(TRUE_UL_PER_CM2, rel=0.05)


def test_the_job_log_of_the_printer_by_a_column_map(press, tmp_path):
    done(press, 0, "load", "P1-W", "--item", "INK-W")
    lines = ["Auftrag;Fertig;Bestellung;Pos;Stück;Weiß (ml);Cyan (ml);Modus"]
    for past, pieces in enumerate((10, 24, 12, 30, 18), start=1):
        day = FIRST + timedelta(days=past)
        ml = f"{used_ml(pieces):.1f}".replace(".", ",")
        lines.append(f"J-{past};{day:%d.%m.%Y};A1;1;{pieces};{ml};0,0;schnell")
    log = tmp_path / "log.csv"
    log.write_text("\n".join(lines) + "\n", encoding="cp1252")
    (tmp_path / "map.toml").write_text(
        '[file]\ndelimiter = ";"\nencoding = "cp1252"\ndates = "dmy"\ndecimal = ","\n'
        '[columns]\njob = "Auftrag"\nprinted_on = "Fertig"\norder = "Bestellung"\nline = "Pos"\n'
        'pieces = "Stück"\nW = "Weiß (ml)"\nC = "Cyan (ml)"\n[values]\nprinter = "P1"\n',
        encoding="utf-8",
    )
    words = ("import", "jobink", str(log), "--columns", str(tmp_path / "map.toml"))
    for _ in range(2):  # the same log again changes nothing
        ran = press(*words, "--on", "2026-03-12")
        assert ran.code == 0, ran.err
    row = fit(press, "P1")
    assert sources(row) == {"jobink"}
    assert row["intervals"] == 5
    assert found_ul_per_cm2(row) == pytest.approx(TRUE_UL_PER_CM2, rel=0.02)
    assert "jobink" in press("calibrate", "--printer", "P1").out
    # The artwork has no cyan: that none was used says nothing of what a print with cyan takes.
    rows = press("calibrate", "--printer", "P1", "--json").json()
    cyan = next(row for row in rows if row["channel"] == "C")
    assert (cyan["intervals"], cyan["set_aside"], cyan["calibrated"]) == (0, [], False)
