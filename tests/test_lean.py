"""What is heavy is fetched only when it is needed: the first page must be there at once."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("numpy", "scipy", "pandas", "ruptures", "pyarrow", "serial", "typst", "websockets.server")
FIRST_PAGE = """
import sys, tempfile, pathlib
from starlette.testclient import TestClient
from sealwright.ledger import open_ledger
from sealwright.web.app import make_app
with tempfile.TemporaryDirectory() as folder, open_ledger(str(pathlib.Path(folder) / 'l.db'), org='o') as book:
    client = TestClient(make_app(book, org_name='Yard'), base_url='http://127.0.0.1')
    for page in ('/', '/room', '/api/pack', '/protocols', '/tests'):
        assert client.get(page).status_code == 200, page
"""
TASTE = """
from sealwright.assess import judge, read_record
from pathlib import Path
record = read_record(Path('docs/how-to/examples/passed.json').read_bytes(), 'passed.json')
assert judge(record.events).result == 'pass'
"""
NEEDS = """
from sealwright.assess import judge, read_record
from pathlib import Path
for name in sorted(Path('docs/how-to/examples').glob('*.json')):
    if name.name == 'unreadable.json':
        continue
    judge(read_record(name.read_bytes(), str(name)).events)
"""


def loaded(code: str) -> set[str]:
    """The heavy modules that a fresh interpreter holds after running `code`."""
    tell = f"{code}\nimport sys\nprint('LOADED', *[m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-W", "ignore", "-c", tell], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    return set(done.stdout.rsplit("LOADED", 1)[1].split())


@pytest.mark.parametrize("code", ["import sealwright.assess, sealwright.protocols, sealwright.cli.app", FIRST_PAGE,
                                  TASTE], ids=["import", "first pages", "a taste test judged"])
def test_nothing_heavy_is_loaded(code: str) -> None:
    assert loaded(code) == set()


def test_numbers_do_need_it() -> None:
    """The same look would see it: judging the measured examples loads the number library."""
    assert "numpy" in loaded(NEEDS)
