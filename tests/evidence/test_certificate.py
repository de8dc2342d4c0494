"""Certificate and wallet card, read back from the PDF as a reader has it. All names and dates are invented."""

from __future__ import annotations

import hashlib
import io
from datetime import timedelta, timezone
from pathlib import Path
from typing import Any

import msgspec
import pypdf
import pytest
from tests.evidence.reading import images, needs_poppler, off_the_page, pages, read_codes, squeezed

from sealwright.assess import decode, judge
from sealwright.demo import tweaks
from sealwright.demo.player import play
from sealwright.errors import BadInput, Conflict
from sealwright.evidence import CertificateData, card_pdf, certificate_data, certificate_pdf
from sealwright.evidence.gather import gather
from sealwright.evidence.press import MOST_REMARKS
from sealwright.evidence.record import drawn_box
from sealwright.ledger import Ledger, open_ledger
from sealwright.protocols import get

START = 1_790_000_000_000
TEST = "0197b1e2-7c31-7a52-9d3e-5a0c6f1b2d44"
HASH = hashlib.sha256(b"an event").hexdigest()
PATH = "M 20 90 L 60 20 L 80 95 L 210 60 M 230 75 L 330 50"
FACEPIECE = {"id": "fp-1", "make": "Larkwell", "model": "Tern 2", "material": "silicone and nylon", "size": "M",
             "kind": "half", "own": False}
NAMES = {"w-1": "Mirela Ostrander-Vance", "u-1": "Tobias Renn"}
HOSTILE = ['#read("/etc/passwd")', "*bold* _it_ $x$", "<label> @ref", "]#panic()[", "\\ // /* `raw`", "= Heading",
           "#{1+1}", "'\"`--- ~"]


def data(*bends: Any, face: dict[str, Any] | None = None, names: dict[str, str] | None = None,
         marks: dict[str, str] | None = None, org_name: str = "Kestrel Quay Works", **options: Any) -> CertificateData:
    protocol = get("us-bitter")
    dicts = play(protocol, test_id="t-1", wearer="w-1", facepiece={**FACEPIECE, **(face or {})}, tester="u-1",
                 start_at=START, tweaks=bends, **options)
    for e in dicts:
        if e["kind"] == "signed":
            e["data"]["sha256"] = hashlib.sha256(PATH.encode()).hexdigest()
    events = [decode(e["kind"], e["id"], e["at"], e["by"], e["data"]) for e in dicts]
    return certificate_data(events, judge(events, protocol), protocol, names=NAMES if names is None else names,
                            org_name=org_name, ledger_n=4711, ledger_hash=HASH, test_id=TEST,
                            marks={"t-1-wearer": PATH, "t-1-tester": PATH} if marks is None else marks)


def test_the_page_holds_what_guidance_asks_of_a_record() -> None:
    """29 CFR 1910.134(m)(2)(i), from memory: who, type of test, make, model, style, size, date, result.

    HSE INDG479, from memory: also material, own or test facepiece, exercises, pass level, tester. The rest (equipment,
    lots, findings, limits) is what published guidance agrees on.
    """
    (page,) = pages(certificate_pdf(data()))
    for item in ("Mirela Ostrander-Vance", "w-1", "Larkwell", "Tern 2", "silicone and nylon", "size M", "half mask",
                 "a test facepiece", "Bitter aerosol, US", "us-bitter version 1", "denatonium benzoate",
                 "fit factor 100", "no fit factor was measured", "29 CFR 1910.134(f)(6)", "safety glasses",
                 "tasted within 7 squeezes and", "75 squeezes", "Tobias Renn", "in date until",
                 "21 September 2026", "UTC", "Fit test passed", "Findings", "Kestrel Quay Works", TEST, "entry 4711"):
        assert squeezed(item) in squeezed(page), item
    assert HASH in squeezed(page)
    for exercise in get("us-bitter").exercises:
        assert exercise.title in page
    assert page.count("60 s") == 7


def test_lots_expiry_and_time_of_loading() -> None:
    made = data()
    (page,) = pages(certificate_pdf(made))
    assert [s.which for s in made.solutions] == ["screening", "test"]
    for s in made.solutions:
        assert f"lot {s.lot}" in page and s.dates in page and s.dates.startswith("use by ")


def test_the_page_says_what_it_does_not_prove() -> None:
    (page,) = pages(certificate_pdf(data()))
    for limit in ("not medical clearance", "not a workplace protection factor", "this make, model and size alone",
                  "change at the seal", "local code", "user seal check"):
        assert squeezed(limit.removeprefix("not a ")) in squeezed(page), limit


@pytest.mark.parametrize(("bends", "options", "result"), [
    ([], {"taste_in_run_s": 134.2}, "fail"),
    ([], {"taste_at_squeeze": None}, "unsuited"),
    ([tweaks.missed("dose-240")], {}, "void"),
    ([tweaks.until(100)], {}, "unfinished"),
])
def test_any_other_result_is_unmistakably_no_proof(bends: list[Any], options: dict[str, Any], result: str) -> None:
    made = data(*bends, **options)
    assert made.result == result
    (page,) = pages(certificate_pdf(made))
    assert "Record of a test that was not passed" in page and "This is not proof of fit" in page
    assert "Fit test passed" not in page and "was fit tested with" not in page
    with pytest.raises(Conflict) as caught:
        card_pdf(made)
    assert caught.value.mend and TEST in caught.value.place


def test_findings_come_worst_first_with_their_sources_and_the_surplus_is_counted() -> None:
    made = data(*(tweaks.late(f"dose-{s}", 9) for s in range(30, 391, 30)), tweaks.touched(283))
    assert made.remarks[0].severity == "void" and len(made.remarks) > MOST_REMARKS
    (page,) = pages(certificate_pdf(made))
    assert squeezed(made.remarks[0].text) in squeezed(page) and squeezed(made.remarks[0].source) in squeezed(page)
    assert f"and {len(made.remarks) - MOST_REMARKS} more in the record" in page


@pytest.mark.parametrize("text", HOSTILE)
def test_names_are_never_read_as_markup(text: str) -> None:
    made = data(names={"w-1": text, "u-1": text}, face={"make": text, "model": text}, org_name=text)
    (page,) = pages(certificate_pdf(made))
    assert squeezed(page).count(squeezed(text)) >= 5
    assert squeezed(text) in squeezed(pages(card_pdf(made))[0])


@pytest.mark.parametrize("name", ["Łucja Żółć", "Ελένη Δρακοπούλου", "Ирина Смирнова", "שרה כהן", "فاطمة الزهراء",
                                  "Հայկ Արամյան", "ნინო ბერიძე"])
def test_names_in_other_scripts_are_printed(name: str) -> None:
    """pypdf gives text in reading or in drawn order, so the letters are compared as a set."""
    (page,) = pages(certificate_pdf(data(names={"w-1": name, "u-1": name})))
    assert "□" not in page
    import unicodedata
    letters = set(unicodedata.normalize("NFKC", squeezed(page)))
    assert set(unicodedata.normalize("NFKC", squeezed(name))) <= letters


def test_letters_that_no_typeface_holds_become_boxes_and_the_page_says_so() -> None:
    made = data(names={"w-1": "Ann \U00010380\U00010381 \u202exe.gnp \x00", "u-1": "T"})  # Ugaritic
    (page,) = pages(certificate_pdf(made))
    assert "Ann □□ xe.gnp □" in page and "no typeface at hand can print" in page
    assert len(pages(card_pdf(made))) == 2


@needs_poppler
@pytest.mark.parametrize("name", ["W" * 400, "Anna-Maria " * 60, "فاطمة " * 80])
def test_it_stays_one_page_whatever_the_names(name: str, tmp_path: Path) -> None:
    long = dict.fromkeys(("make", "model", "material", "size"), (name * 2)[:120])
    bends = [tweaks.late(f"dose-{s}", 9) for s in range(30, 391, 30)]
    bends.append(tweaks.change("questions-answered", equipment_worn=[name[:120]] * 8, equipment_used=["visor"] * 9))
    made = data(*bends, face=long, names={"w-1": name, "u-1": name}, org_name=name)
    (page,) = pages(certificate_pdf(made))
    assert "What this does not prove" in page and TEST in squeezed(page) and HASH in squeezed(page)
    assert len(pages(card_pdf(made))) == 2
    assert off_the_page(certificate_pdf(made), tmp_path) == []
    assert off_the_page(card_pdf(made), tmp_path) == []


def test_a_name_erased_on_request_leaves_the_rest_standing() -> None:
    (page,) = pages(certificate_pdf(data(names={}, marks={})))
    assert "name no longer on record" in page and "w-1" in page and "the drawing is not at hand" in page


def test_a_drawing_that_differs_from_the_one_signed_is_left_out() -> None:
    made = data(marks={"t-1-wearer": "M 0 0 L 9 9", "t-1-tester": PATH})
    assert {s.role: bool(s.path) for s in made.signatures} == {"wearer": False, "tester": True}
    assert "the drawing differs from the one signed" in pages(certificate_pdf(made))[0]


@pytest.mark.parametrize(("path", "box"), [
    ("M 0 0 L 100 40", (-5.0, -5.0, 110.0, 50.0)), ("M 1 1", None), ("M 0 0 A 1 1 0 0 1 5 5", None), ("", None),
    ('M 0 0 L 1e9 5', None), ("M0 0 Q50 100 100 40", (-5.0, -5.0, 110.0, 110.0)), ('M 0 0 L 5 5"/><x', None),
    ("m 0 0 l 5 5", None)])
def test_only_plain_strokes_are_drawn(path: str, box: Any) -> None:
    assert drawn_box(path) == box


def test_a_drawing_of_another_sort_is_said_to_be_there() -> None:
    path = "M 0 0 A 1 1 0 0 1 5 5"
    dicts = play(get("us-bitter"), test_id="t-1", wearer="w-1", facepiece=FACEPIECE, tester="u-1", start_at=START)
    for e in dicts:
        if e["kind"] == "signed":
            e["data"]["sha256"] = hashlib.sha256(path.encode()).hexdigest()
    events = [decode(e["kind"], e["id"], e["at"], e["by"], e["data"]) for e in dicts]
    made = certificate_data(events, judge(events), get("us-bitter"), names=NAMES, org_name="",
                            marks={"t-1-wearer": path, "t-1-tester": path})
    assert {s.why for s in made.signatures} == {"signed; the drawing cannot be shown"}


def test_the_same_data_give_the_same_bytes() -> None:
    assert certificate_pdf(data()) == certificate_pdf(data())
    assert card_pdf(data()) == card_pdf(data())
    assert certificate_pdf(data()) != certificate_pdf(data(org_name="Another"))


def test_it_is_tagged_for_readers_that_speak() -> None:
    """ISO 14289-1 (PDF/UA-1): the identifier in XMP, a marked structure, language and title, alternative texts."""
    reader = pypdf.PdfReader(io.BytesIO(certificate_pdf(data())))
    root: Any = reader.trailer["/Root"]
    assert b"<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_data()
    assert root["/MarkInfo"]["/Marked"] and root["/Lang"] == "en" and "/StructTreeRoot" in root
    assert reader.metadata and reader.metadata.title == "Fit test passed: Mirela Ostrander-Vance"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]


def test_sizes_of_paper() -> None:
    """A4: ISO 216, 210 x 297 mm. Card: ISO/IEC 7810 ID-1, 85.60 x 53.98 mm."""
    def mm(pdf: bytes) -> list[tuple[float, float]]:
        return [(float(p.mediabox.width) / 72 * 25.4, float(p.mediabox.height) / 72 * 25.4)
                for p in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    assert mm(certificate_pdf(data())) == [pytest.approx((210, 297), abs=0.1)]
    assert mm(card_pdf(data())) == [pytest.approx((85.60, 53.98), abs=0.1)] * 2


def test_the_card_holds_the_essentials() -> None:
    front, back = pages(card_pdf(data()))
    for item in ("Fit test passed", "Mirela Ostrander-Vance", "Larkwell Tern 2", "size M", "half mask",
                 "21 September 2026", "with this facepiece only", "fit factor 100", "safety glasses"):
        assert item in front, item
    for item in ("Not medical clearance", "Only this make, model and size", "user seal check", "us-bitter version 1",
                 "Tobias Renn", "entry 4711"):
        assert item in back, item
    assert TEST in squeezed(back)


@needs_poppler
@pytest.mark.parametrize("options", [{}, {"taste_in_run_s": 134.2}])
def test_the_code_on_the_page_is_read_back(options: dict[str, Any], tmp_path: Path) -> None:
    """Read by zxing-cpp from the page as printed at 150 dpi."""
    made = data(**options)
    (image,) = images(certificate_pdf(made), tmp_path)
    assert read_codes(image) == [f"SEALWRIGHT/1 {TEST} {made.result} {HASH}"]


@needs_poppler
def test_the_code_on_the_card_is_read_back(tmp_path: Path) -> None:
    _, back = images(card_pdf(data()), tmp_path, dpi=200)
    assert read_codes(back) == [f"SEALWRIGHT/1 {TEST} pass {HASH}"]


@needs_poppler
def test_it_prints_in_black_and_white_with_the_score_on_it(tmp_path: Path) -> None:
    """In the middle of the page, where the score stands, the grey picture has both dark and light."""
    from PIL import Image

    (image,) = images(certificate_pdf(data()), tmp_path, dpi=72)
    with Image.open(image) as opened:
        w, h = opened.size
        band = opened.convert("L").crop((w // 10, int(h * 0.52), w - w // 10, int(h * 0.62)))
    counts = band.histogram()
    assert sum(counts[:110]) > 200 and sum(counts[250:]) > 0.2 * sum(counts)


def test_times_are_said_in_the_zone_asked_for() -> None:
    protocol = get("us-bitter")
    dicts = play(protocol, test_id="t-1", wearer="w-1", facepiece=FACEPIECE, tester="u-1", start_at=START)
    events = [decode(e["kind"], e["id"], e["at"], e["by"], e["data"]) for e in dicts]
    at = {hours: certificate_data(events, judge(events), protocol, names={}, org_name="",
                                  zone=timezone(timedelta(hours=hours))) for hours in (0, 14)}
    assert (at[0].date, at[0].zone) == ("21 September 2026", "UTC")
    assert (at[14].date, at[14].zone) == ("22 September 2026", "UTC+1400")


def test_a_record_without_an_opening_is_refused() -> None:
    with pytest.raises(BadInput) as caught:
        certificate_data([], judge([]), get("us-bitter"), names={}, org_name="")
    assert caught.value.place == "events" and caught.value.mend


def test_out_of_a_ledger(tmp_path: Path) -> None:
    """Position and hash are those of the test's last entry; names and drawings come from the personal details."""
    dicts = play(get("us-bitter"), test_id="t-1", wearer="w-1", facepiece=FACEPIECE, tester="u-1", start_at=START)
    with open_ledger(f"sqlite:///{tmp_path / 'ledger.db'}", org="kestrel") as ledger:
        ledger.put_person("w-1", "Mirela Ostrander-Vance")
        for e in dicts:
            if e["kind"] == "signed":
                person = "w-1" if e["data"]["role"] == "wearer" else "u-1"
                e["data"]["sha256"] = ledger.put_mark(e["data"]["mark"], person, PATH, role=e["data"]["role"])
        last = ledger.append(dicts)[-1]
        made = gather(ledger, "t-1", org_name="Kestrel Quay Works")
    assert (made.ledger_n, made.ledger_hash, made.result) == (last.n, last.hash, "pass")
    assert made.wearer == "Mirela Ostrander-Vance" and all(s.path for s in made.signatures)
    assert last.hash in made.code and "Mirela" not in made.code


def test_certificate_data_survive_the_wire() -> None:
    made = data(tweaks.missed("dose-240"))
    assert msgspec.json.decode(msgspec.json.encode(made), type=CertificateData) == made


def test_the_signatures_of_the_demo_are_drawn(demo_ledger: Ledger) -> None:
    """Its pen strokes are curves; a blank line above a name would pass for a missing signature."""
    closed = next(t for t in demo_ledger.tests(limit=20) if t.result == "pass")
    made = gather(demo_ledger, closed.id, org_name="Yard")
    assert all(s.path and drawn_box(s.path) for s in made.signatures)
