"""``stock watch``: what lands in the folder is taken once, whole, and nobody types a print."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from PIL import Image

from stock.errors import InputFaults
from stock.exchange.watch_rules import load_rules, what_is
from stock.shop import Book, open_book
from stock.shop.artwork_landing import named_in
from stock.shop.watching import Taken, Watch

ON = date(2026, 3, 3)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "hot"
    made.mkdir()
    return made


@pytest.fixture
def book(stocked, tmp_path) -> Iterator[Book]:
    opened = open_book(tmp_path / "book.sqlite")
    yield opened
    opened.close()


def picture(path: Path, colour: tuple[int, int, int] = (20, 90, 200), dpi: float = 300) -> Path:
    Image.new("RGB", (240, 120), colour).save(path, dpi=(dpi, dpi))
    return path


def orders(path: Path, ref: str, *lines: str) -> Path:
    head = "order,line,stage,placed_on,due_on,blank,quantity,width_cm,artwork"
    path.write_text(
        "\n".join(
            [
                head,
                *(
                    f"{ref},{n},released,2026-03-02,2026-03-20,{line}"
                    for n, line in enumerate(lines, 1)
                ),
            ]
        )
    )
    return path


def once(run, folder: Path) -> list[dict]:
    ran = run("watch", str(folder), "--once", "--json")
    return json.loads(ran.out)


def test_a_picture_is_measured_and_tied_to_the_line_its_name_says(stocked, book, folder):
    orders(folder / "orders.csv", "B7", "TEE-BLK-L,12,30,", "TEE-WHT-L,5,30,")
    picture(folder / "B7-2 wave.png")
    told = once(stocked, folder)
    assert [one["kind"] for one in told] == ["orders", "artwork"]  # the order first, then its art
    assert told[1]["said"] == "artwork B7-2 wave (new), tied to B7/2"
    cost = stocked("cost", "B7", "--on", "2026-03-03", "--json").json()
    assert cost["lines"][0]["per_piece"]["ink_cost"] == 0
    assert cost["lines"][1]["per_piece"]["ink_cost"] > 0


def test_an_order_named_without_a_line_gives_its_artwork_to_lines_that_have_none(
    stocked, book, folder
):
    orders(folder / "orders.csv", "B7", "TEE-BLK-L,12,30,BEAR", "TEE-WHT-L,5,30,")
    picture(folder / "b7_front.png")
    assert once(stocked, folder)[1]["said"].endswith("tied to B7/2")


def test_a_line_named_by_number_gets_the_new_artwork_and_the_old_is_named(stocked, folder):
    picture(folder / "A1-1 other.png")
    [told] = once(stocked, folder)
    assert told["notes"] == ["A1/1 had the artwork BEAR before."]


def test_a_file_named_as_an_artwork_brings_a_new_version_and_is_measured_anew(
    stocked, book, folder
):
    def ink() -> float:
        return stocked("cost", "A1", "--on", "2026-03-03", "--json").json()["lines"][0][
            "per_piece"
        ]["ink_cost"]

    before = ink()
    picture(folder / "BEAR.png", (250, 250, 250))
    [told] = once(stocked, folder)
    assert told["said"] == "artwork BEAR (changed)"
    assert ink() != before


def test_taking_the_folder_again_changes_nothing(stocked, folder):
    orders(folder / "orders.csv", "B7", "TEE-BLK-L,12,30,")
    picture(folder / "B7.png")
    (folder / "prints.csv").write_text("order,line,printed_on,good,ref\nA1,1,2026-03-03,6,R1\n")
    once(stocked, folder)
    before = stocked("onhand", "--json").out
    again = once(stocked, folder)
    assert [one["said"] for one in again] == [
        "orders: 1 rows, 0 new, 1 known",
        "artwork B7 (known), tied to B7/1",
        "prints: 1 rows, 0 new, 1 known",
    ]
    assert stocked("onhand", "--json").out == before


def test_the_printers_own_job_log_is_taken_by_its_column_map(stocked, folder):
    (folder / "jobs.toml").write_text(
        '[file]\ndelimiter = ";"\ndates = "dmy"\n'
        '[columns]\norder = "Job"\nline = "Pos"\nprinted_on = "Finished"\ngood = "OK"\n'
        'misprints = "NG"\nref = "Run"\n'
    )
    (folder / "watch.toml").write_text(
        '[[file]]\nmatch = "RIPLOG*.txt"\nkind = "prints"\ncolumns = "jobs.toml"\n'
    )
    log = folder / "riplog 2026.txt"
    log.write_text("Run;Job;Pos;Finished;OK;NG\n1;A1;1;03.03.2026;6;1\n")
    [told] = once(stocked, folder)
    assert told["said"] == "prints: 1 rows, 1 new, 0 known"
    log.write_text(log.read_text() + "2;A1;1;04.03.2026;4;0\n")
    [told] = once(stocked, folder)
    assert told["said"] == "prints: 2 rows, 1 new, 1 known"
    tees = {row["item"]: row["amount"] for row in stocked("onhand", "--json").json()}
    assert tees["TEE-BLK-L"] == 40 - 7 - 4


def test_a_file_with_faults_is_named_and_the_others_are_taken(stocked, folder):
    (folder / "prints-bad.csv").write_text("order,line,printed_on,good\nA404,1,2026-03-03,6\n")
    (folder / "broken.png").write_bytes(b"\x89PNG\r\n\x1a\nnot a picture")
    picture(folder / "wave.png")
    ran = stocked("watch", str(folder), "--once", "--json")
    assert ran.code == 1
    told = {one["file"]: one for one in json.loads(ran.out)}
    assert [told[name]["taken"] for name in sorted(told)] == [False, False, True]
    assert "A404" in told["prints-bad.csv"]["said"]
    assert told["wave.png"]["notes"]


def test_a_line_without_a_size_is_not_tied_to_a_file_without_a_resolution(stocked, folder):
    orders(folder / "orders.csv", "B7", "TEE-BLK-L,12,,")
    Image.new("RGB", (240, 120), (20, 90, 200)).save(folder / "B7.png")
    told = once(stocked, folder)[1]
    assert told["said"] == "artwork B7 (new)"
    assert "no printed size" in told["notes"][0]
    assert stocked("reorder", "--on", "2026-03-03", "--json").code == 0


def test_a_running_watch_takes_what_lands_once_it_has_stopped_growing(book, folder):
    told: list[Taken] = []
    stop = threading.Event()
    watching = Watch.of(book, folder, lambda: ON)
    runner = threading.Thread(
        target=watching.run, args=(told.append,), kwargs={"stop": stop, "quiet_seconds": 0.3}
    )
    runner.start()
    try:
        time.sleep(0.5)
        log = folder / "prints.csv"
        log.write_text("order,line,printed_on,good,ref\n")
        with log.open("a") as growing:
            for number in range(5):
                growing.write(f"A1,1,2026-03-03,1,R{number}\n")
                growing.flush()
                time.sleep(0.1)
        deadline = time.monotonic() + 15
        while not told and time.monotonic() < deadline:
            time.sleep(0.05)
    finally:
        stop.set()
        runner.join(10)
    assert [one.said for one in told] == ["prints: 5 rows, 5 new, 0 known"]


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("A1043.png", "artwork"),
        ("Wolf.PSD", "artwork"),
        ("orders-monday.csv", "orders"),
        ("orders.xlsx", "orders"),
        ("jobink_p1.csv", "jobink"),
        ("ordersheet.csv", None),
        ("notes.docx", None),
        (".hidden.png", None),
        ("~$orders.xlsx", None),
        ("watch.toml", None),
    ],
)
def test_a_file_is_what_its_name_says(name, kind):
    found = what_is(Path(name), ())
    assert (found.kind if found else None) == kind


@pytest.mark.parametrize(
    ("stem", "named"),
    [
        ("A1043-2", ("A1043", 2)),
        ("a1043_02_front", ("A1043", 2)),
        ("A1043 wolf", ("A1043", None)),
        ("A1043-wolf 2", ("A1043", None)),
        ("A10432", ("", None)),
        ("A10-1", ("A10-1", None)),
        ("wolf A1043", ("", None)),
    ],
)
def test_the_longest_order_reference_at_the_start_of_a_name_wins(stem, named):
    assert named_in(stem, ["A1043", "A10", "A10-1"]) == named


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[file]]\nmatch='x'\n", "no kind"),
        ("[[file]]\nmatch='x'\nkind='wolves'\n", "one of"),
        ("[[file]]\nmatch='x'\nkind='orders'\ncolumns='none.toml'\n", "none.toml"),
        ("[[file]]\nmatch=3\nkind='orders'\n", "a text"),
        ("[rules]\n", "[[file]] and nothing else"),
        ("file = 3\n", "a list"),
        ("not toml", "TOML"),
    ],
)
def test_rules_with_faults_are_refused_with_all_of_them(tmp_path, text, said):
    path = tmp_path / "watch.toml"
    path.write_text(text)
    with pytest.raises(InputFaults, match=said.replace("[", r"\[").replace("]", r"\]")):
        load_rules(path)


def test_a_folder_that_is_none_is_said(stocked, tmp_path):
    ran = stocked("watch", str(tmp_path / "nowhere"), "--once")
    assert ran.code == 1
    assert "is not a folder" in ran.err
