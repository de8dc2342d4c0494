"""What was acknowledged stays, whatever happens to the process; writers side by side lose and double nothing."""

from __future__ import annotations

import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from tests.ledger.invented import NOW, dosed, opened

from sealwright.ledger import Ledger, open_ledger

WRITER = """
import sys
from sealwright.ledger import open_ledger
from tests.ledger.invented import dosed, opened
file, test, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
with open_ledger(file, org="yard") as ledger:
    ledger.append([opened(test)])
    for i in range(count):
        [receipt] = ledger.append([dosed(test, f"{test}-{i}")])
        print(receipt.id, receipt.n, receipt.hash, flush=True)
"""
ROOT = Path(__file__).resolve().parents[2]


def writer(file: Path, test: str, count: int) -> subprocess.Popen[str]:
    return subprocess.Popen([sys.executable, "-c", WRITER, str(file), test, str(count)], cwd=ROOT, text=True,
                            stdout=subprocess.PIPE)


@pytest.mark.faults
@pytest.mark.parametrize("acknowledged", [1, 7, 60])
def test_what_was_acknowledged_survives_a_kill(file: Path, acknowledged: int) -> None:
    process = writer(file, "t-1", 100_000)
    assert process.stdout is not None
    said = [process.stdout.readline().split() for _ in range(acknowledged)]
    process.send_signal(signal.SIGKILL)
    said += [line.split() for line in process.stdout.read().splitlines(keepends=True) if line.endswith("\n")]
    assert process.wait() == -signal.SIGKILL
    process.stdout.close()
    with open_ledger(str(file), org="yard", now=lambda: NOW) as ledger:
        kept = {e.id: [e.id, str(e.n), e.hash] for e in ledger.events("test:t-1")}
        assert [kept[s[0]] for s in said] == said
        assert len(kept) - 1 - len(said) in (0, 1)  # at most the one under way when it was killed
        assert ledger.check(rows=True).ok
        assert ledger.append([dosed("t-1", "after")])[0].n == len(kept) + 1


def test_processes_side_by_side_lose_and_double_nothing(file: Path) -> None:
    count, names = 40, ("t-1", "t-2", "t-3")
    processes = [writer(file, name, count) for name in names]
    said = [line.split() for p in processes for line in p.communicate(timeout=120)[0].splitlines()]
    assert [p.returncode for p in processes] == [0] * 3
    assert len(said) == len(names) * count
    with open_ledger(str(file), org="yard", now=lambda: NOW) as ledger:
        assert ledger.count() == len(names) * (count + 1)
        streams = [ledger.events(f"test:{name}") for name in names]
        assert sorted(e.n for s in streams for e in s) == list(range(1, ledger.count() + 1))
        assert {e.id: e.hash for s in streams for e in s}.items() >= {s[0]: s[2] for s in said}.items()
        assert ledger.check(rows=True).ok


def test_threads_side_by_side_while_others_read(ledger: Ledger) -> None:
    ledger.append([opened(f"t-{t}") for t in range(6)])

    def room(t: int) -> int:
        for i in range(25):
            ledger.append([dosed(f"t-{t}", f"{t}.{i}"), dosed(f"t-{t}", f"{t}.{i}b")])
            seen = [e.seq for e in ledger.events(f"test:t-{t}")]
            assert seen == list(range(1, 2 * i + 4))
        return ledger.test(f"t-{t}").last_at

    with ThreadPoolExecutor(6) as pool:
        assert list(pool.map(room, range(6))) == [NOW] * 6
    assert ledger.count() == 6 * 51
    assert ledger.check(rows=True).ok


def test_the_same_events_sent_by_many_at_once_are_recorded_once(ledger: Ledger) -> None:
    """A room that sends again because the answer was slow."""
    batch = [opened("t-1"), *(dosed("t-1", f"d{i}") for i in range(20))]
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda _: ledger.append(batch), range(8)))
    assert sorted(a[0].known for a in answers) == [False] + [True] * 7
    assert len({tuple(r.hash for r in a) for a in answers}) == 1
    assert ledger.count() == 21
