"""Certificate and card of vapour, smoke and the quantitative methods, read back from the PDF. Invented names."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path
from typing import Any

import msgspec
import pypdf
import pytest
from tests.assess.staging import FACEPIECE, events_of, played
from tests.evidence.reading import images, needs_poppler, off_the_page, pages, read_codes, squeezed

from sealwright.assess import judge
from sealwright.demo import tweaks as bend
from sealwright.evidence import CertificateData, card_pdf, certificate_data, certificate_pdf
from sealwright.protocols import get, published

TEST, HASH = "0197b1e2-7c31-7a52-9d3e-5a0c6f1b2d44", hashlib.sha256(b"an event").hexdigest()
NAMES = {"w-1": "Mirela Ostrander-Vance", "u-1": "Tobias Renn"}
MEASURED = [p.id for p in published().values() if p.quantitative]


def data(protocol: str, *tweaks: Any, names: dict[str, str] | None = None, org: str = "Kestrel Quay Works",
         **options: Any) -> CertificateData:
    kinds = get(protocol).suits.kinds
    options.setdefault("kind", "half" if "half" in kinds else kinds[0])
    events = events_of(played(*tweaks, protocol=protocol, **options))
    return certificate_data(events, judge(events), get(protocol), names=NAMES if names is None else names, org_name=org,
                            ledger_n=4711, ledger_hash=HASH, test_id=TEST)


def page_of(made: CertificateData) -> str:
    (page,) = pages(certificate_pdf(made))
    return squeezed(page)


def holds(page: str, *items: str) -> None:
    missing = [item for item in items if squeezed(item) not in page]
    assert missing == []


@pytest.mark.parametrize("protocol", published())
def test_every_method_has_one_page_and_a_card(protocol: str) -> None:
    made = data(protocol)
    page = page_of(made)
    kind = "Quantitative fit test" if get(protocol).quantitative else "Qualitative fit test"
    holds(page, "Fit test passed", f"{kind}, {get(protocol).title}", "Mirela Ostrander-Vance", f"{protocol} version 1",
          "What this does not prove", TEST, HASH, *(e.title for e in get(protocol).exercises))
    front, _back = pages(card_pdf(made))
    assert "Fit test passed" in front and "Pass level: fit factor" in front


@pytest.mark.parametrize("protocol", MEASURED)
def test_a_quantitative_page_shows_every_factor_with_its_interval(protocol: str) -> None:
    """From memory: 29 CFR 1910.134(m)(2)(i)(E): the fit factor. UK guidance: pass level, measured value."""
    made = data(protocol)
    assert made.numbers and made.numbers.overall
    page = page_of(made)
    level = get(protocol).level_for("half" if protocol != "us-counting-short-filtering" else "filtering")
    assert level
    rule = {"overall": "asked of the overall factor", "each": "asked of every exercise"}
    holds(page, f"fit factor {level.value}", rule[get(protocol).pass_rule.value], level.source[:20],  # type: ignore[attr-defined]
          f"Overall{made.numbers.overall.factor}{made.numbers.overall.interval}", made.numbers.sentence.rstrip("."),
          "a fit factor is not a workplace protection factor", made.numbers.instrument, "in date until")
    for rated in made.numbers.rated:
        holds(page, rated.factor + rated.interval + ("" if rated.counts else ", left out"))
    assert "qualitative" not in page and "nofitfactorwasmeasured" not in page
    holds(squeezed(pages(card_pdf(made))[0]), f"Measured overall: {made.numbers.overall.factor}")


def test_the_numbers_are_those_of_the_verdict() -> None:
    """Written out here from the leaks: 53,800 / 269 = 200 and so on."""
    leaks = {"forward": 269.0, "bend": 134.5, "shake": 538.0, "redon-1": 269.0, "redon-2": 269.0}
    made = data("us-pressure-redon", leaks=leaks)
    assert made.numbers and made.numbers.overall
    assert [r.factor for r in made.numbers.rated] == ["200", "400", "100", "200", "200"]
    assert made.numbers.overall.factor == "182"
    holds(page_of(made), "Overall182", "Donned 3 times", "Chance that the true overall factor reaches 100: above 99 %")


def test_factors_stand_on_the_axis_where_their_logarithms_are() -> None:
    """100, 1,000 and 10,000 are evenly apart; a bound without end has none; what is below the level is told apart."""
    from sealwright.assess.measured import Factor
    from sealwright.evidence.numbers import Axis
    three = [Factor(exercise=str(v), factor=v, low=v / 2, high=v * 2) for v in (100.0, 1000.0, 10_000.0)]
    axis = Axis(three, 500)
    at = [axis.place(f).at or 0.0 for f in three]
    assert at[1] - at[0] == pytest.approx(at[2] - at[1]) and 0 < at[0] < at[2] < 1
    assert [axis.place(f).reached for f in three] == [False, True, True]
    open_end = axis.place(Factor(exercise="x", factor=None, low=700.0))
    assert (open_end.at, open_end.high, open_end.reached) == (None, None, True)
    assert [said for _, said in axis.ticks()] == ["100", "1,000", "10,000"]
    assert [said for _, said in Axis(three[:1], 100).ticks()] == ["50", "100", "200"]


def test_a_factor_just_below_the_level_is_not_rounded_up_to_it() -> None:
    made = data("us-pressure", leaks={e.id: 538.2 for e in get("us-pressure").exercises})
    assert made.result == "fail" and made.numbers and made.numbers.overall
    assert made.numbers.overall.factor == "99.96"


def test_the_level_is_that_of_the_rule_set_or_the_site_that_was_named() -> None:
    site = data("us-counting", pass_level=150)
    holds(page_of(site), "fit factor 150", "the site, stricter than the rules")
    uk = data("us-counting", rule_set="uk", kind="full", factors=dict.fromkeys(_ids("us-counting"), 9000.0))
    holds(page_of(uk), "fit factor 2000", "asked of every exercise", "HSE")


def _ids(protocol: str) -> list[str]:
    return [e.id for e in get(protocol).exercises]


def test_nothing_counted_and_no_uncertainty_are_said_in_words() -> None:
    none = data("us-counting", bend.sampled(lambda v: [0] * len(v), "mask", -1))
    holds(page_of(none), "at least", "nothing counted in the mask")
    bare = data("us-counting", way="factors")
    page = page_of(bare)
    holds(page, "how sure that is cannot be said")
    assert bare.numbers and {r.interval for r in bare.numbers.rated} == {""}


@pytest.mark.parametrize(("protocol", "tweaks", "options", "result", "said"), [
    ("us-counting", [], {"factors": {"deep": 9.0}}, "fail", "Failed at"),
    ("us-counting", [bend.without("samples-taken")], {}, "void", "No reading"),
    ("us-pressure", [bend.stubble()], {}, "void", "Stubble"),
    ("us-vapour", [], {"notice_in_run_s": 95}, "fail", "Smelled at 1:35"),
    ("us-smoke", [], {"screened": False}, "unsuited", "stannic chloride smoke does not suit this wearer"),
    ("uk-counting", [bend.until(100)], {}, "unfinished", "has no end on record"),
])
def test_any_other_result_is_unmistakably_no_proof(protocol: str, tweaks: Any, options: Any, result: str,
                                                   said: str) -> None:
    made = data(protocol, *tweaks, **options)
    assert made.result == result
    page = page_of(made)
    holds(page, "Record of a test that was not passed", "This is not proof of fit", said)
    assert "Fittestpassed" not in page


def test_the_solutions_of_the_vapour_method() -> None:
    """29 CFR 1910.134 App. A Part I.B.2, from memory: stock at least weekly, odour solution for one day."""
    made = data("us-vapour")
    assert [s.which for s in made.solutions] == ["stock", "odour"]
    assert "September" in made.solutions[0].dates and "September" not in made.solutions[1].dates
    holds(page_of(made), "Stock solution", "Odour solution", *(s.dates for s in made.solutions),
          "noticed without a facepiece", "isoamyl acetate")


def test_smoke_comes_with_all_its_cautions() -> None:
    made = data("us-smoke")
    page = page_of(made)
    assert len(made.cautions) >= 6
    holds(page, "Cautions of this method", *made.cautions)
    assert "Cautionsofthismethod" not in page_of(data("us-vapour"))


@needs_poppler
@pytest.mark.parametrize("protocol", ["us-pressure", "us-counting", "us-smoke"])
def test_it_stays_one_page_whatever_comes(protocol: str, tmp_path: Path) -> None:
    """Longest protocol, long names, many findings, every factor far out."""
    name = "Anna-Maria " * 60
    long = {**FACEPIECE, **dict.fromkeys(("make", "model", "material", "size"), (name * 2)[:120])}
    bends = [bend.change("questions-answered", equipment_worn=[name[:120]] * 8, equipment_used=["visor"] * 9),
             bend.without("identity-confirmed"), bend.without("kit-checked"), bend.without("seal-checked"),
             bend.without("comfort-judged"), bend.without("instrument-named"), bend.without("signed"),
             lambda e: [{**x, "data": {**x["data"], "facepiece": long}} if x["kind"] == "opened" else x for x in e]]
    huge: dict[str, Any] = {"us-pressure": {"leaks": {"deep": 0.1}}, "us-smoke": {}}.get(
        protocol, {"way": "factors", "factors": {"deep": 123_456_789.0}})
    made = data(protocol, *bends, names={"w-1": name, "u-1": name}, org=name, **huge)
    page = page_of(made)
    assert len(made.remarks) > 6 and "Whatthisdoesnotprove" in page and TEST in page and HASH in page
    assert off_the_page(certificate_pdf(made), tmp_path) == []
    assert off_the_page(card_pdf(made), tmp_path) == []


@pytest.mark.parametrize("protocol", ["us-pressure", "uk-counting", "us-vapour", "us-smoke"])
def test_it_is_tagged_and_the_same_data_give_the_same_bytes(protocol: str) -> None:
    """ISO 14289-1 (PDF/UA-1): the identifier in XMP, a marked structure."""
    made = data(protocol)
    pdf = certificate_pdf(made)
    root: Any = pypdf.PdfReader(io.BytesIO(pdf)).trailer["/Root"]
    assert b"<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_data() and root["/MarkInfo"]["/Marked"]
    assert certificate_pdf(data(protocol)) == pdf


@needs_poppler
def test_the_code_on_a_quantitative_page_is_read_back(tmp_path: Path) -> None:
    (image,) = images(certificate_pdf(data("us-pressure")), tmp_path)
    assert read_codes(image) == [f"SEALWRIGHT/1 {TEST} pass {HASH}"]


@pytest.mark.parametrize("protocol", ["us-counting", "us-vapour"])
def test_certificate_data_survive_the_wire(protocol: str) -> None:
    made = data(protocol)
    assert msgspec.json.decode(msgspec.json.encode(made), type=CertificateData) == made
