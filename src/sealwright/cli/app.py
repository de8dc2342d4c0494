"""The command line: nouns and verbs of the trade. Exit 0: done; 1: the answer is no; 2: bad input."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import Annotated

import typer
from typer.exceptions import TyperException

from sealwright import __version__
from sealwright.cli import agreement, ledger, listing, papers, protection, protocol, running, say, score, test, trace
from sealwright.cli.reference import HELP
from sealwright.errors import BadInput, SealwrightError

app = typer.Typer(name="sealwright", add_completion=False, rich_markup_mode=None,
                  pretty_exceptions_enable=False, context_settings={"help_option_names": HELP})


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"sealwright {__version__}")
        raise typer.Exit


@app.callback()
def top(version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True,
                                              help="Print the version and leave.")] = False) -> None:
    """Fit testing of tight-fitting respirators: led second by second, judged, proven and on record.

    Exit status: 0 done; 1 the answer is no (a test that is no pass, a broken chain); 2 bad input, with one line that
    says what, where, and how to mend it (with --json: one object on standard output).
    """


app.command("demo")(running.demo)
app.command("serve")(running.serve)
app.add_typer(protocol.app, name="protocol")
app.add_typer(score.app, name="score")
app.add_typer(test.app, name="test")
app.add_typer(listing.wearer, name="wearer")
app.add_typer(listing.facepiece, name="facepiece")
app.add_typer(papers.certificate, name="certificate")
app.add_typer(papers.card, name="card")
app.add_typer(trace.app, name="trace")
app.add_typer(ledger.app, name="ledger")
app.command("agreement")(agreement.agreement)
app.command("protection")(protection.protection)


def run(argv: Sequence[str] | None = None) -> None:
    """The program: runs one command line and leaves with its exit status."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        code = obey(sys.argv[1:] if argv is None else argv)
        sys.stdout.flush()
    except BrokenPipeError:
        # The reader (head, less) has gone; a second complaint at exit would be noise.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 1
    sys.exit(code)


def obey(argv: Sequence[str]) -> int:
    """Runs one command line; prints its answer, or its error in one shape, and returns the exit status."""
    wants_json = "--json" in argv
    try:
        code = typer.main.get_command(app).main(list(argv or ["--help"]), prog_name="sealwright", standalone_mode=False)
    except SealwrightError as error:
        say.trouble(error, wants_json)
    except TyperException as error:
        say.trouble(_misused(error), wants_json)
    except BrokenPipeError:
        raise
    except OSError as error:
        say.trouble(BadInput((error.strerror or str(error)).lower(), place=str(error.filename or ""),
                             mend="Check the name and that you may use it"), wants_json)
    except (typer.Abort, KeyboardInterrupt):
        return 130
    else:
        return code if isinstance(code, int) else 0
    return 2


def _misused(error: TyperException) -> BadInput:
    """A command line that does not parse, in the one shape of error."""
    context = getattr(error, "ctx", None)
    path = context.command_path if context else "sealwright"
    found = error.format_message().strip().rstrip(".")
    return BadInput(found[:1].lower() + found[1:], place=path, mend=f"See `{path} --help`")
