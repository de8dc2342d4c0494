"""Evidence: the certificate and the wallet card of a test, as PDF.

The record of a test is put into words (`certificate_data`, or `gather` from a ledger) and set by typst.
"""

from sealwright.evidence.press import card_pdf, certificate_pdf
from sealwright.evidence.record import CertificateData, certificate_data

__all__ = ["CertificateData", "card_pdf", "certificate_data", "certificate_pdf"]
