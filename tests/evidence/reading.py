"""Reads a PDF back as a reader has it: text by pypdf, pictures and places by poppler, codes by zxing-cpp."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from pathlib import Path

import pypdf
import pytest

needs_poppler = pytest.mark.skipif(not shutil.which("pdftoppm"), reason="no pdftoppm")


def pages(pdf: bytes) -> list[str]:
    """The text of each page; places to break and line ends are taken as a reader takes them."""
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    return [re.sub(r"\s+", " ", p.extract_text().replace("\u200b", "")) for p in reader.pages]


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


def images(pdf: bytes, folder: Path, dpi: int = 150) -> list[Path]:
    (folder / "x.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", str(dpi), "-png", str(folder / "x.pdf"), str(folder / "x")], check=True)
    return sorted(folder.glob("x-*.png"))


def off_the_page(pdf: bytes, folder: Path) -> list[str]:
    """Words that poppler finds outside the page's edges."""
    (folder / "x.pdf").write_bytes(pdf)
    told = subprocess.run(["pdftotext", "-bbox", str(folder / "x.pdf"), "-"], check=True, capture_output=True,
                          text=True)
    out, wide, high = [], 0.0, 0.0
    for line in told.stdout.splitlines():
        if page := re.search(r'<page width="([\d.]+)" height="([\d.]+)"', line):
            wide, high = float(page[1]), float(page[2])
        elif "<word" in line:
            x0, y0, x1, y1 = map(float, re.findall(r'M(?:in|ax)="([-\d.]+)"', line))
            if x0 < 0 or y0 < 0 or x1 > wide or y1 > high:
                out.append(line)
    return out


def read_codes(image: Path) -> list[str]:
    import zxingcpp
    from PIL import Image

    with Image.open(image) as opened:
        return [b.text for b in zxingcpp.read_barcodes(opened.convert("L"))]
