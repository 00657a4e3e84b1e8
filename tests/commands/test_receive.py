"""``stock receive`` and ``stock scan``: what arrives is booked, what is doubtful is not."""

from __future__ import annotations

# GTIN 09521234543213 stands in GS1's own examples of the GTIN check digit and Digital Link URIs.
GS1_EXAMPLE = "(01)09521234543213(17)270501(10)W7731"


def on_hand(run) -> dict[tuple[str, str], float]:
    return {(row["item"], row["lot"]): row["amount"] for row in run("onhand", "--json").json()}


def test_a_delivery_by_hand_is_on_the_shelf(shop):
    booked = shop(
        *("receive", "--item", "INK-K", "--packs", "2", "--lot", "K77"),
        *("--expires", "2027-05-01", "--on", "2026-03-02", "--json"),
    ).json()
    assert booked["lots"] == [
        {
            "item": "INK-K",
            "lot": "K77",
            "expires": "2027-05-01",
            "packs": 2,
            "amount": 700.0,
            "unit": "mL",
        }
    ]
    assert on_hand(shop) == {("INK-K", "K77"): 700.0}


def test_a_scanned_box_needs_no_typing(shop):
    booked = shop("receive", "--scan", GS1_EXAMPLE, "--on", "2026-03-02", "--json").json()
    lot = booked["lots"][0]
    assert (lot["item"], lot["lot"], lot["expires"]) == ("INK-W", "W7731", "2027-05-01")
    assert lot["amount"] == 700.0


def test_two_scans_of_one_box_are_one_delivery(shop):
    booked = shop(
        *("receive", "--scan", "]d20109521234543213", "--scan", "]d21727050110W7731"),
        *("--on", "2026-03-02", "--json"),
    ).json()
    assert [(lot["lot"], lot["packs"]) for lot in booked["lots"]] == [("W7731", 1)]


def test_a_lot_that_swallowed_the_next_field_is_asked_about(shop):
    ran = shop("receive", "--scan", "0109521234543213" + "10W773117270501", "--on", "2026-03-02")
    assert ran.code == 1
    assert "Nothing was booked" in ran.err
    assert on_hand(shop) == {}


def test_an_unknown_gtin_is_named(shop):
    ran = shop("receive", "--scan", "4006381333931", "--on", "2026-03-02")
    assert ran.code == 1
    assert "4006381333931" in ran.err
    assert "--item SKU --tie" in ran.err
    assert "Traceback" not in ran.err


def test_an_unknown_gtin_is_tied_to_an_item_once(shop):
    scan = ("receive", "--scan", "4006381333931", "--on", "2026-03-02", "--expires", "2027-05-01")
    by_hand = shop(*scan, "--item", "INK-C", "--lot", "C1")
    assert by_hand.code == 0
    assert "tied to no item yet" in by_hand.err
    tied = shop(*scan, "--item", "INK-C", "--tie", "--lot", "C2")
    assert "is INK-C, pack C350, from now on" in tied.err
    assert shop(*scan, "--lot", "C3").code == 0
    assert on_hand(shop) == {("INK-C", lot): 350.0 for lot in ("C1", "C2", "C3")}
    other = shop(*scan, "--item", "INK-M", "--tie", "--lot", "C4")
    assert (other.code, "belongs to INK-C" in other.err) == (1, True)


def test_a_refused_delivery_ties_nothing(shop):
    scan = ("receive", "--scan", "4006381333931", "--on", "2026-03-02")
    assert shop(*scan, "--item", "INK-C", "--tie", "--place", "ATTIC").code == 1
    assert shop(*scan).code == 1
    assert shop("receive", "--item", "INK-C", "--packs", "1", "--tie").code == 2


def test_two_boxes_with_a_new_code_tie_it_once(shop):
    ran = shop(
        *("receive", "--scan", "(01)04006381333931(10)A", "--scan", "(01)04006381333931(10)B"),
        *("--item", "INK-C", "--tie", "--expires", "2027-05-01", "--on", "2026-03-02"),
    )
    assert ran.code == 0, ran.err
    assert on_hand(shop) == {("INK-C", "A"): 350.0, ("INK-C", "B"): 350.0}


def test_one_lot_has_one_date(shop):
    receive = ("receive", "--item", "INK-K", "--packs", "1", "--lot", "K1", "--on", "2026-03-02")
    assert shop(*receive, "--expires", "2027-05-01").code == 0
    ran = shop(*receive, "--expires", "2027-06-01")
    assert ran.code == 1
    assert "2027-05-01" in ran.err
    assert on_hand(shop) == {("INK-K", "K1"): 350.0}


def test_faults_of_a_delivery_are_one_sentence_and_change_nothing(shop):
    cases = {
        ("receive", "--item", "INK-Q", "--packs", "1"): (1, "INK-Q"),
        ("receive", "--item", "INK-K", "--packs", "-2"): (1, "-2 packs"),
        ("receive", "--item", "INK-K", "--packs", "0"): (1, "0 packs"),
        ("receive", "--item", "INK-K", "--packs", "1", "--expires", "2026-02-30"): (2, "--expires"),
        ("receive", "--item", "INK-K", "--packs", "1", "--expires", "03/04/2027"): (2, "--expires"),
        ("receive", "--item", "INK-K"): (2, "--packs"),
        ("receive",): (2, "--scan"),
        ("receive", "--item", "INK-K", "--packs", "1", "--place", "ATTIC"): (1, "ATTIC"),
        ("receive", "--item", "INK-K", "--amount", "3 kg"): (1, "INK-K"),
        ("receive", "--item", "INK-K", "--packs", "1", "--purchase", "P9"): (1, "P9"),
    }
    for words, (code, said) in cases.items():
        ran = shop(*words, "--on", "2026-03-02") if len(words) > 1 else shop(*words)
        assert ran.code == code, (words, ran.err)
        assert said in ran.err
        assert len(ran.err.strip().splitlines()) == 1, ran.err
    assert on_hand(shop) == {}


def test_an_assumed_expiry_says_so(shop):
    ran = shop("receive", "--item", "INK-K", "--packs", "1", "--lot", "K2", "--on", "2026-03-02")
    assert "365 days of shelf life assumed" in ran.err


def test_scan_only_reads(shop):
    found = shop("scan", GS1_EXAMPLE, "--on", "2026-03-02", "--json").json()
    assert found["gtin"] == "09521234543213"
    assert (found["lot"], found["expires"]) == ("W7731", "2027-05-01")
    assert on_hand(shop) == {}
