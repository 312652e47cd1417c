"""Entry point of the command: exit codes and messages.

0 success; 1 an internal error, or data or a disk that can't be used; 2 bad usage or bad input, nothing
stored; 3 success, but some rows were rejected; 130 stopped by Ctrl-C.
"""

from __future__ import annotations

import logging
import os
import re
import sqlite3
import sys
from collections.abc import Sequence

import click

from fieldfare.analysis.errors import FieldfareError, InputError, SiteError
from fieldfare.api.cli.garbage import search_no_more, search_seldom
from fieldfare.api.core.threads import one_allocator, one_thread_each

log = logging.getLogger(__name__)
DONE, FAULT, BAD_INPUT, SOME_REJECTED, INTERRUPTED = 0, 1, 2, 3, 130


def main(argv: Sequence[str] | None = None) -> None:
    """Run the command and exit with its exit code."""
    search_seldom()
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")  # searches every installed package for them
    code = run(argv)
    search_no_more()
    sys.exit(code)


def run(argv: Sequence[str] | None = None) -> int:
    """Run the command. Return its exit code; never raises."""
    one_thread_each()
    one_allocator()
    from fieldfare.api.cli.root import root

    try:
        returned = root.main(args=argv, prog_name="fieldfare", standalone_mode=False)
        sys.stdout.flush()
        return returned if isinstance(returned, int) else DONE
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        return BAD_INPUT
    except click.UsageError as error:
        return _refuse(_usage(error), _hint(error))
    except click.ClickException as error:
        return _refuse(error.format_message())
    except SiteError as error:
        return _refuse(str(error), *(f"  {error.file}: {p}" for p in error.problems[1:]))
    except InputError as error:
        return _refuse(str(error))
    except FieldfareError as error:
        _refuse(str(error))
        return FAULT
    except (KeyboardInterrupt, click.Abort):
        click.echo("fieldfare: stopped", err=True)
        return INTERRUPTED
    except BrokenPipeError:
        _close_output()
        return DONE
    except (OSError, sqlite3.Error) as error:
        return _unusable(error)
    except Exception as error:
        of_database = getattr(error, "orig", None)  # wrapped by SQLAlchemy, which is not imported for this
        return _unusable(of_database) if isinstance(of_database, sqlite3.Error) else _fault(error)


def _refuse(*lines: str) -> int:
    first, *rest = (line for line in lines if line)
    click.echo("\n".join([f"fieldfare: {' '.join(first.split())}", *rest]), err=True)
    return BAD_INPUT


_CLICKS_WORDS = (
    (re.compile(r"is not a valid float( range)?$"), "is no number"),
    (re.compile(r"is not a valid integer( range)?$"), "is no whole number"),
    (
        re.compile(r"(\S+) is not in the range (\S+?)<=x<=(\S+?)$"),
        r"\1 is out of range; give a number from \2 to \3",
    ),
    (re.compile(r"(\S+) is not in the range x>=(\S+?)$"), r"\1 is too low; give at least \2"),
)
"""What click says of a value's type -> plain words."""


def _usage(error: click.UsageError) -> str:
    message = error.format_message().rstrip(".")
    for theirs, ours in _CLICKS_WORDS:
        message = theirs.sub(ours, message)
    return message[:1].lower() + message[1:]


def _hint(error: click.UsageError) -> str:
    path = error.ctx.command_path if error.ctx else "fieldfare"
    return f"  try: {path} --help"


def _unusable(error: Exception) -> int:
    """A full disk, a read-only folder, a damaged database: one line, with details in the log."""
    from fieldfare.api.cli.root import data_folder

    log.error("a file or database could not be used", exc_info=error)
    if isinstance(error, OSError) and error.strerror:
        what = f"{error.filename or data_folder()}: {error.strerror}"
    else:
        what = f"{data_folder()}: {' '.join(str(error).split())}"
    click.echo(f"fieldfare: {what[:300]}", err=True)
    return FAULT


def _fault(error: Exception) -> int:
    from fieldfare.api.cli.root import data_folder
    from fieldfare.api.core.fault_log import NAME

    what = " ".join(f"{type(error).__name__}: {error}".split())[:300]
    log.error("internal error in: %s", " ".join(sys.argv[1:]), exc_info=error)
    click.echo(f"fieldfare: internal error: {what} (details in {data_folder() / NAME})", err=True)
    return FAULT


def _close_output() -> None:
    """The reader closed the pipe: redirect the interpreter's last flush to nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
