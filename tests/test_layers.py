"""Who may import whom: the contracts of pyproject.toml, held by import-linter."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]


def linted(*options: str) -> subprocess.CompletedProcess[str]:
    code = "from importlinter.cli import lint_imports_command; lint_imports_command()"
    return subprocess.run([sys.executable, "-c", code, "--no-cache", *options], cwd=ROOT, capture_output=True,
                          text=True)


def test_the_contracts_hold() -> None:
    done = linted()
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 broken" in done.stdout and "0 kept" not in done.stdout


def test_a_crossing_would_be_seen(tmp_path: Path) -> None:
    """The same contract turned on its head must break, else a passing run would prove nothing."""
    config = tmp_path / "crossing.ini"
    config.write_text("[importlinter]\nroot_packages =\n    sealwright\n[importlinter:contract:1]\nname = crossing\n"
                      "type = forbidden\nsource_modules =\n    sealwright.ledger\n"
                      "forbidden_modules =\n    sealwright.assess\n")
    done = linted(str(config))
    assert done.returncode == 1 and "1 broken" in done.stdout, done.stdout + done.stderr
