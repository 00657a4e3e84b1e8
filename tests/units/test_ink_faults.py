"""Files that cannot be measured: one sentence each, quickly, in little memory."""

from __future__ import annotations

import contextlib
import io
import os
import random
import resource
import struct
import subprocess
import sys
import time
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import pyvips
from fpdf import FPDF
from PIL import Image

from stock.errors import ArtworkUnreadable, Refused
from stock.ink.measure import measure_shares
from stock.ink.mode import PrintMode
from tests.units.ink_pictures import patches, psd_bytes, save

MODE = PrintMode()
SECONDS = 5.0
"""Of processor time: the wall clock belongs to whatever else the machine does."""


def refused(path: Path, **options: object) -> str:
    """The one sentence a file is refused with, in time."""
    began = time.process_time()
    with pytest.raises(ArtworkUnreadable) as caught:
        measure_shares(path, garment="dark", mode=MODE, **options)
    assert time.process_time() - began < SECONDS
    told = str(caught.value)
    assert told.startswith(f"{path}: ")
    assert "\n" not in told
    assert told.endswith(".")
    return told


def chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png_bytes(width: int, height: int, body: bytes, *, depth: int = 8, kind: int = 6) -> bytes:
    """A PNG of that header, whatever the body holds."""
    head = struct.pack(">IIBBBBB", width, height, depth, kind, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


def zeros(row: int, rows: int, level: int = 1) -> list[bytes]:
    """Deflated rows of nothing."""
    packer = zlib.compressobj(level)
    block = b"\0" * row * 100
    return [packer.compress(block) for _ in range(rows // 100)] + [packer.flush()]


def all_kinds(tmp_path: Path) -> list[Path]:
    """A sound file of each kind."""
    rng = np.random.default_rng(1)
    noise = rng.integers(0, 256, (90, 80, 3), dtype=np.uint8)
    paths = [save(tmp_path / f"a.{kind}", noise) for kind in ("png", "tif", "jpg", "webp")]
    psd = tmp_path / "a.psd"
    psd.write_bytes(psd_bytes(np.moveaxis(noise, -1, 0), 3))
    pdf = FPDF(unit="mm", format=(40, 30))
    pdf.add_page()
    pdf.image(Image.fromarray(noise), 2, 2, 20, 20)
    pdf.output(str(tmp_path / "a.pdf"))
    return [*paths, psd, tmp_path / "a.pdf"]


def test_a_missing_file(tmp_path: Path) -> None:
    assert "no such file" in refused(tmp_path / "none.png")


def test_a_directory_under_a_pictures_name(tmp_path: Path) -> None:
    (tmp_path / "d.png").mkdir()
    assert "is a directory" in refused(tmp_path / "d.png")


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "p.png")
    assert "not a plain file" in refused(tmp_path / "p.png")


def test_a_name_with_a_null_in_it() -> None:
    assert "cannot be opened" in refused(Path("a\0b.png"))


@pytest.mark.parametrize("kind", ["png", "tif", "jpg", "webp", "psd", "pdf", "txt"])
def test_an_empty_file(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"e.{kind}"
    path.write_bytes(b"")
    assert "is empty" in refused(path)


def test_a_text_under_a_pictures_name(tmp_path: Path) -> None:
    path = tmp_path / "t.png"
    path.write_text("artwork to follow\n" * 50)
    assert "not a PNG picture" in refused(path)


def test_a_picture_under_another_kinds_name(tmp_path: Path) -> None:
    path = tmp_path / "j.png"
    Image.fromarray(patches()).save(path, "JPEG")
    assert "holds a JPEG picture under the name of a PNG one" in refused(path)


def test_a_kind_that_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "g.gif"
    Image.fromarray(patches()).save(path)
    assert "expected PNG, TIFF, JPEG, WebP, PSD or PDF" in refused(path)


def test_every_kind_cut_short(tmp_path: Path) -> None:
    for path in all_kinds(tmp_path):
        measure_shares(path, garment="dark", mode=MODE)
        whole = path.read_bytes()
        for part in (0.5, 0.9):
            path.write_bytes(whole[: int(len(whole) * part)])
            if path.suffix == ".pdf":
                # A PDF without its end is often repaired; drawn or refused, nothing else.
                try:
                    measure_shares(path, garment="dark", mode=MODE)
                except ArtworkUnreadable:
                    continue
            else:
                assert "cut short" in refused(path), path


def test_a_picture_without_pixels(tmp_path: Path) -> None:
    path = tmp_path / "z.png"
    path.write_bytes(png_bytes(0, 10, zlib.compress(b"")))
    refused(path)
    path = tmp_path / "z.psd"
    path.write_bytes(psd_bytes(np.zeros((3, 0, 5), np.uint8), 3))
    assert "no pixels" in refused(path)


def test_a_single_pixel(tmp_path: Path) -> None:
    assert "single pixel" in refused(save(tmp_path / "1.png", np.zeros((1, 1, 3))))


def test_a_header_that_claims_the_world(tmp_path: Path) -> None:
    path = tmp_path / "h.png"
    path.write_bytes(png_bytes(100_000, 100_000, zlib.compress(b"\0" * 1000)))
    assert "100000 × 100000 pixels" in refused(path)
    path.write_bytes(png_bytes(2_000_000_000, 2, zlib.compress(b"\0" * 1000)))
    refused(path)
    path = tmp_path / "h.psd"
    path.write_bytes(psd_bytes(np.zeros((3, 2, 2), np.uint8), 3)[:26] + b"\0" * 100)
    data = bytearray(path.read_bytes())
    data[14:22] = struct.pack(">II", 30_000, 30_000)
    path.write_bytes(bytes(data))
    refused(path)


def test_a_psd_of_thousands_of_channels(tmp_path: Path) -> None:
    path = tmp_path / "c.psd"
    data = bytearray(psd_bytes(np.zeros((3, 2, 2), np.uint8), 3))
    data[12:22] = struct.pack(">HII", 32_771, 65_370, 80)
    path.write_bytes(bytes(data))
    refused(path)


def test_bombs_by_ratio(tmp_path: Path) -> None:
    path = tmp_path / "r.png"
    path.write_bytes(png_bytes(17_000, 17_000, b"".join(zeros(17_001, 17_000, 9)), kind=0))
    assert "would unfold" in refused(path)
    path = tmp_path / "r.tif"
    pyvips.Image.black(17_000, 17_000).write_to_file(str(path), compression="deflate")
    assert "would unfold" in refused(path)


def test_a_jpeg_of_hundreds_of_empty_scans(tmp_path: Path) -> None:
    # Each scan of some ninety bytes walks over the whole picture again.
    out = io.BytesIO()
    Image.new("RGB", (2_000, 2_000), (9, 99, 199)).save(out, "JPEG", progressive=True)
    data, path = out.getvalue(), tmp_path / "scans.jpg"
    last = data[data.rindex(b"\xff\xda") : -2]
    path.write_bytes(data)
    assert measure_shares(path, garment="dark", mode=MODE).share["C"] > 0.5
    path.write_bytes(data[:-2] + last * 500 + data[-2:])
    assert "damaged" in refused(path)


def test_a_webp_that_must_be_held_whole(tmp_path: Path) -> None:
    path = tmp_path / "r.webp"
    Image.new("RGB", (64, 64)).save(path, lossless=True)
    data = bytearray(path.read_bytes())
    at = data.index(b"VP8L") + 9
    # WebP lossless: width − 1 and height − 1 in 14 bits each.
    size = struct.unpack("<I", data[at : at + 4])[0] & ~0xFFFFFFF
    data[at : at + 4] = struct.pack("<I", size | 15_999 | 15_999 << 14)
    path.write_bytes(bytes(data))
    assert "held whole" in refused(path)


def test_a_pdf_page_of_absurd_size_or_none(tmp_path: Path) -> None:
    pdf = FPDF(unit="in", format=(190, 190))
    pdf.add_page()
    pdf.output(str(tmp_path / "big.pdf"))
    measure_shares(tmp_path / "big.pdf", garment="dark", mode=MODE)
    raw = (tmp_path / "big.pdf").read_bytes().replace(b"13680.00", b"99999999")
    (tmp_path / "huge.pdf").write_bytes(raw)
    refused(tmp_path / "huge.pdf")
    (tmp_path / "none.pdf").write_bytes(
        b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n"
        b"2 0 obj<</Type/Pages/Kids[]/Count 0>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"
    )
    refused(tmp_path / "none.pdf")


def pdf_bytes(objects: list[bytes]) -> bytes:
    """A PDF of numbered objects, the first its catalogue (ISO 32000-1, 7.5)."""
    out, offsets = b"%PDF-1.4\n", []
    for number, body in enumerate(objects, start=1):
        offsets.append(b"%010d 00000 n \n" % len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    size = len(objects) + 1
    table = b"xref\n0 %d\n0000000000 65535 f \n%s" % (size, b"".join(offsets))
    tail = b"trailer<</Size %d/Root 1 0 R>>\nstartxref\n%d\n%%%%EOF\n" % (size, len(out))
    return out + table + tail


def stream(entries: bytes, body: bytes) -> bytes:
    return b"<<%s/Length %d>>\nstream\n%s\nendstream" % (entries, len(body), body)


def test_a_pdf_that_unfolds_into_a_thousand_million_squares(tmp_path: Path) -> None:
    form = b"/Type/XObject/Subtype/Form/BBox[0 0 600 600]"
    ten_times = b"/F Do " * 10
    objects = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 600 600]/Contents 4 0 R"
        b"/Resources<</XObject<</F 5 0 R>>>>>>",
        stream(b"", ten_times),
    ]
    for deeper in range(6, 14):
        inner = b"/Resources<</XObject<</F %d 0 R>>>>" % deeper
        objects.append(stream(form + inner, ten_times))
    objects.append(stream(form, b"0 0 600 600 re f"))
    path = tmp_path / "squares.pdf"
    path.write_bytes(pdf_bytes(objects))
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert "cannot be drawn in" in refused(path)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    # It runs out of memory after two to three seconds on a quiet machine.
    assert after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime < 2 * SECONDS
    objects[4] = stream(form, b"0 0 300 300 re f")
    path.write_bytes(pdf_bytes(objects))
    plain = PrintMode(white_method="flat")
    assert measure_shares(path, garment="dark", mode=plain).share["W"] == pytest.approx(0.25)


@pytest.mark.parametrize(("wide", "high"), [(30_000, 1), (1, 30_000), (30_000, 2), (30_000, 40)])
def test_long_strips_are_measured(tmp_path: Path, wide: int, high: int) -> None:
    pixels = np.full((high, wide, 4), (0, 255, 255, 255))
    path = save(tmp_path / "s.png", pixels)
    for choke in (0.0, 3.0, 50.0):
        began = time.process_time()
        found = measure_shares(path, garment="dark", mode=PrintMode(choke_px=choke))
        assert time.process_time() - began < SECONDS
        assert found.share["C"] == pytest.approx(1.0)


def test_flipped_bytes_never_end_in_a_traceback(tmp_path: Path) -> None:
    rng = random.Random(20_260_105)
    sound = all_kinds(tmp_path)
    for path in sound:
        whole = path.read_bytes()
        for _ in range(25):
            data = bytearray(whole)
            for _ in range(rng.randint(1, 12)):
                data[rng.randrange(len(data))] = rng.randrange(256)
            path.write_bytes(bytes(data))
            with contextlib.suppress(ArtworkUnreadable):
                measure_shares(path, garment="dark", mode=PrintMode(choke_px=1.0))


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"ink_limit": float("nan")}, "ink limit is nan"),
        ({"white_method": "magic"}, "white method 'magic'"),
        ({"choke_px": -1.0}, "choke px is -1.0"),
        ({"tone_curve": {"C": ((0.0, 0.0), (1.0, 7.0))}}, "tone curve of C"),
        ({"cmyk_profile": "/nowhere/press.icc"}, "cannot be opened"),
    ],
)
def test_a_mode_nobody_prints_with(tmp_path: Path, changes: dict, told: str) -> None:
    path = save(tmp_path / "a.png", patches())
    with pytest.raises(Refused, match=told):
        measure_shares(path, garment="dark", mode=PrintMode(**changes))


def test_a_file_that_is_no_profile_is_refused(tmp_path: Path) -> None:
    path, profile = save(tmp_path / "a.png", patches()), tmp_path / "p.icc"
    profile.write_bytes(b"not a profile" * 40)
    with pytest.raises(Refused, match="not a CMYK ICC profile"):
        measure_shares(path, garment="dark", mode=PrintMode(cmyk_profile=str(profile)))


HEAVY: dict[str, Callable[[Path], None]] = {
    # The largest pictures that are still read, in the forms that fold them best.
    "zeros.png": lambda path: path.write_bytes(
        png_bytes(14_000, 14_000, b"".join(zeros(14_000 * 4 + 1, 14_000)))
    ),
    "progressive.jpg": lambda path: Image.new("RGB", (9_000, 9_000), (9, 99, 199)).save(
        path, progressive=True, quality=50
    ),
}


@pytest.mark.parametrize("name", list(HEAVY))
def test_the_heaviest_pictures_stay_within_memory(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    HEAVY[name](path)
    code = (
        "import re, sys\n"
        "from stock.errors import ArtworkUnreadable\n"
        "from stock.ink.measure import measure_shares\n"
        "from stock.ink.mode import PrintMode\n"
        "try:\n"
        "    measure_shares(sys.argv[1], garment='dark', mode=PrintMode(choke_px=3))\n"
        "except ArtworkUnreadable as error:\n"
        "    print(error, file=sys.stderr)\n"
        "print(re.search('VmHWM:\\\\s+(\\\\d+)', open('/proc/self/status').read())[1])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
    )
    assert int(done.stdout) * 1024 < 1.5e9
