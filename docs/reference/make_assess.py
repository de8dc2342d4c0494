"""Writes findings.md, test-record.md and test-record.schema.json beside itself from the code."""

import json
from pathlib import Path

from sealwright.assess import record_schema
from sealwright.assess.reference import findings_page, record_page

HERE = Path(__file__).parent
(HERE / "findings.md").write_text(findings_page(), "utf-8")
(HERE / "test-record.md").write_text(record_page(), "utf-8")
(HERE / "test-record.schema.json").write_text(json.dumps(record_schema(), indent=1) + "\n", "utf-8")
