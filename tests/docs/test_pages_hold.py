"""What the pages say is what the program does: commands, examples, fields, addresses, words on the keys."""

from __future__ import annotations

import importlib.util
import re
import shlex
from pathlib import Path
from typing import Any

import pytest
import typer
from tests.docs.pages import PAGES, ROOT, inline_commands, named, shell_lines

from sealwright.cli.app import app, obey
from sealwright.pictures import score_svg
from sealwright.protocols import compile_score, get, types
from sealwright.protocols.shelf import RULES

SRC, DOCS = ROOT / "src" / "sealwright", ROOT / "docs"
EXAMPLES = DOCS / "how-to" / "examples"


def read(path: Path) -> str:
    return path.read_text("utf-8")


# --- commands ---

def below(words: list[str]) -> tuple[Any, list[str]]:
    """The command that `words` name, and what is left of them."""
    command: Any = typer.main.get_command(app)
    while words and words[0] in getattr(command, "commands", {}):
        command, words = command.commands[words[0]], words[1:]
    return command, words


@pytest.mark.parametrize("page", PAGES, ids=named)
def test_shell_commands_parse(page: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SEALWRIGHT_LEDGER", "ledger.db")
    monkeypatch.setenv("SEALWRIGHT_ORG", "org")
    for line in shell_lines(read(page)):
        words = shlex.split(line.partition(" > ")[0].partition(" #")[0])
        if words and words[0].endswith("sealwright"):
            command, rest = below(words[1:])
            assert not hasattr(command, "commands"), f"{line}: no such command"
            command.make_context("sealwright", rest)


@pytest.mark.parametrize("page", PAGES, ids=named)
def test_commands_in_the_text_exist(page: Path) -> None:
    for said in inline_commands(read(page)):
        command, rest = below(said.split()[1:])
        assert not hasattr(command, "commands") or not rest, f"{said}: no such command"
        known = {name for p in command.params for name in [*p.opts, *p.secondary_opts]} | {"--help", "-h"}
        assert {w for w in rest if w.startswith("-") and w != "-"} <= known, said


def test_make_targets_are_there() -> None:
    targets = set(re.findall(r"^([a-z]+):", read(ROOT / "Makefile"), re.MULTILINE))
    said = {t for page in PAGES for t in re.findall(r"\bmake ([a-z]+)(?=`| +#| *\n)", read(page))}
    assert {"run", "test"} <= said <= targets


# --- examples ---

def test_examples_judge_as_the_page_says(capsys: pytest.CaptureFixture[str]) -> None:
    page = read(DOCS / "how-to/judge-a-file.md")
    rows = re.findall(r"^\| \[(\S+\.json)\]\(\S+\) \| (\w+)[^|]*\| (\d) \|$", page, re.MULTILINE)
    assert {name for name, _, _ in rows} == {p.name for p in EXAMPLES.glob("*.json")}
    for name, verdict, code in rows:
        assert obey(["test", "assess", str(EXAMPLES / name)]) == int(code)
        said = capsys.readouterr()
        assert verdict == "none" or f" {verdict.upper()}: " in said.out


def test_outputs_shown_are_what_is_printed(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    shown = re.findall(r"```text\n(.*?)```", read(DOCS / "how-to/judge-a-file.md"), re.DOTALL)
    obey(["test", "assess", "docs/how-to/examples/passed.json"])
    assert capsys.readouterr().out.strip() == shown[0].strip()
    obey(["test", "assess", "docs/how-to/examples/pressure.json"])
    assert capsys.readouterr().out.strip() == shown[1].strip()
    obey(["test", "assess", "docs/how-to/examples/unreadable.json"])
    assert capsys.readouterr().err.strip() == shown[2].strip()


# --- reference ---

def test_the_sources_page_is_current() -> None:
    spec = importlib.util.spec_from_file_location("make_sources", DOCS / "reference/make_sources.py")
    assert spec and spec.loader
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    assert read(DOCS / "reference/sources.md") == made.page()
    # Nothing cited is missing from the walk: every `source` line of the files is found by it.
    lines = sum(read(p).count("source = ") for folder in ("protocols", "programme")
                for p in (SRC / folder).rglob("*.toml"))
    assert len(made.cited()) == lines


@pytest.mark.parametrize("part", [
    *dict.fromkeys(types.CLASSES.values()), types.Source, types.Dose, types.Screening, types.Exercise, types.Recipe,
    types.Ingredient, types.DoseTolerances, types.Suits, types.Sample, types.PassLevel, types.PassRuled, types.Peak,
    types.RuleSet, types.RuledMethod])
def test_every_field_of_a_protocol_file_is_explained(part: type) -> None:
    page = read(DOCS / "reference/protocol-files.md")
    names = set(part.__struct_fields__) - {"doses", "exercises", "screening_solution", "test_solution", "rules",
                                           "tolerances", "name", "amount"}
    assert {n for n in names if f"`{n}`" not in page} == set()
    assert {r for rules in RULES.values() for r in rules if f"`{r}`" not in page} == set()


def test_every_address_of_the_room_and_the_screen_is_explained() -> None:
    page = read(DOCS / "reference/http-api.md")
    found = re.findall(r'Route\("([^"]+)"', read(SRC / "web/api.py") + read(SRC / "web/wearer_screen.py"))
    assert len(found) > 10
    assert [a for a in found if f"`{a}`" not in page and f" {a}`" not in page] == []


def test_every_status_and_error_of_the_server_is_explained() -> None:
    """As the classes of errors have them, with the codes that the web part gives itself."""
    from sealwright.errors import SealwrightError

    page = read(DOCS / "reference/http-api.md")
    rows = {code: row[0] for row in re.findall(r"^\| (\d{3}) \| (.*?) \|", page, re.M)
            for code in re.findall(r"`([a-z-]+)`", row[1])}
    told = set(re.findall(r"^\| (\d{3}) \|", page, re.M))
    import sealwright.web.app  # all classes of errors are known now

    assert sealwright.web.app
    kinds = [k for k in SealwrightError.__subclasses__() if k.__module__.startswith("sealwright.")]
    assert len(kinds) > 7
    assert {str(k.status) for k in kinds} <= told
    web = "".join(read(p) for p in (SRC / "web").glob("*.py"))
    assert {c for c in re.findall(r'code="([a-z-]+)"', web) if c not in rows} == set()
    assert rows["foreign-origin"] == "403"


def test_every_finding_named_in_the_pages_exists() -> None:
    from sealwright.assess import DEPARTURES

    said = {code for p in (DOCS / "how-to").glob("*.md") for code in re.findall(r"\(`([a-z]+(?:-[a-z]+)+)`\)", read(p))}
    assert said and said <= DEPARTURES.keys()


def test_the_picture_is_what_the_command_writes() -> None:
    score = compile_score(get("us-bitter"), 10)
    assert read(DOCS / "pictures/score.svg") == score_svg(score, title="Bitter aerosol, US, level 10", standalone=True)


# --- the tutorial's words ---

def room_says() -> str:
    files = [SRC / "protocols/conduct.py", *(SRC / "protocols/lists").glob("*.toml"), SRC / "demo/gannet_reach.toml",
             SRC / "assess/judging.py", *(SRC / "protocols").glob("us-*.toml"), *(SRC / "cli").glob("*.py"),
             *(SRC / "web/static/room").glob("*.js"), *(SRC / "web/templates").glob("*.html")]
    return re.sub(r"\s+", " ", " ".join(read(f) for f in files)).lower()


def test_words_on_keys_in_the_tutorial_are_those_of_the_room() -> None:
    """Whole where the words are fixed; word by word where a number or a lot stands among them."""
    page, said = read(DOCS / "tutorial/first-test.md"), room_says()
    bold = [re.sub(r"\s+", " ", b).strip(" .…✓●◌+") for b in re.findall(r"\*\*([^*]+)\*\*", page)]
    assert len(bold) > 40
    for words in bold:
        fixed = not re.search(r"\d|…|size", words)
        parts = words.split(": ") if fixed else re.findall(r"[A-Za-z]{3,}", words)
        assert [p for p in parts if p.lower() not in said] == [], words


def test_the_program_that_enters_an_organisation_does_so_and_may_run_twice(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from sealwright.ledger import open_ledger

    code = re.findall(r"```python\n(.*?)```", read(DOCS / "how-to/own-organisation.md"), re.DOTALL)[0]
    monkeypatch.chdir(tmp_path)
    for _ in range(2):
        exec(compile(code, "enter.py", "exec"), {"__name__": "enter"})
    with open_ledger("ours.db", org="our-yard") as ledger:
        assert [w.name for w in ledger.wearers()] == ["Jadwiga Zielona", "Tobias Larkmoor"]
        assert (len(ledger.testers()), len(ledger.facepieces()), len(ledger.lots()), ledger.count()) == (1, 1, 2, 6)
