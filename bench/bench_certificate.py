"""Milliseconds per certificate and per card, against a bare typst page with the same typefaces in the same run."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import msgspec
import typst
from font_source_sans_pro import font_directory

from sealwright.assess import decode, judge
from sealwright.demo.player import play
from sealwright.evidence import CertificateData, card_pdf, certificate_data, certificate_pdf
from sealwright.protocols import get

ROUNDS = 60
FACEPIECE = {"id": "fp-1", "make": "Larkwell", "model": "Tern 2", "material": "silicone", "size": "M", "kind": "half",
             "own": True}
BARE = b'#set document(title: "Bare")\n#set text(font: "Source Sans Pro")\n= A page\n#sys.inputs.data'


def record() -> CertificateData:
    protocol = get("us-bitter")
    dicts = play(protocol, test_id="t-1", wearer="w-1", facepiece=FACEPIECE, tester="u-1", start_at=1_790_000_000_000)
    events = [decode(e["kind"], e["id"], e["at"], e["by"], e["data"]) for e in dicts]
    return certificate_data(events, judge(events), protocol, names={"w-1": "Mirela Ostrander-Vance"},
                            org_name="Kestrel Quay Works", ledger_n=1, ledger_hash="0" * 64, test_id="t-1")


def bare(faces: typst.Fonts) -> Callable[[int], object]:
    return lambda i: typst.compile(BARE, format="pdf", font_paths=faces, sys_inputs={"data": f"Mirela {i}"},
                                   pdf_standards=["ua-1"], timestamp=0)


def median_ms(make: Callable[[int], object]) -> float:
    """Every round sets other data, so that nothing comes from a cache."""
    make(-1)
    spans = []
    for i in range(ROUNDS):
        began = time.perf_counter()
        make(i)
        spans.append((time.perf_counter() - began) * 1000)
    return statistics.median(spans)


def main() -> None:
    made = record()
    faces = typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[font_directory])
    base = median_ms(bare(faces))
    print(f"bare typst page  {base:7.2f} ms")
    for name, press in (("certificate", certificate_pdf), ("card", card_pdf)):
        ms = median_ms(lambda i, press=press: press(msgspec.structs.replace(made, wearer=f"Mirela {i}")))  # type: ignore[misc]
        print(f"{name:15}  {ms:7.2f} ms  {ms / base:5.1f} x bare")


if __name__ == "__main__":
    main()
