"""The command's entry: exit codes and messages, in one place.

0 done; 1 a fault of ours; 2 bad usage or bad input, nothing stored; 3 done, but some rows were rejected;
130 stopped by Ctrl-C before the work was done.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path

import click

from analysis.errors import InputError, SiteError
from api.threads import one_thread_each

DONE, FAULT, BAD_INPUT, SOME_REJECTED, INTERRUPTED = 0, 1, 2, 3, 130


def main(argv: Sequence[str] | None = None) -> None:
    """Run the command and leave with its exit code."""
    sys.exit(run(argv))


def run(argv: Sequence[str] | None = None) -> int:
    """Run the command. Returns its exit code; never raises."""
    one_thread_each()
    from api.cli.root import root

    try:
        returned = root.main(args=argv, prog_name="fieldfare", standalone_mode=False)
        sys.stdout.flush()
        return returned if isinstance(returned, int) else DONE
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    except click.UsageError as error:
        return _refuse(_usage(error), _hint(error))
    except click.ClickException as error:
        return _refuse(error.format_message())
    except SiteError as error:
        return _refuse(str(error), *(f"  {error.file}: {p}" for p in error.problems[1:]))
    except InputError as error:
        return _refuse(str(error))
    except (KeyboardInterrupt, click.Abort):
        click.echo("fieldfare: stopped", err=True)
        return INTERRUPTED
    except BrokenPipeError:
        _close_output()
        return DONE
    except Exception as error:
        return _fault(error)


def _refuse(*lines: str) -> int:
    first, *rest = (line for line in lines if line)
    click.echo("\n".join([f"fieldfare: {' '.join(first.split())}", *rest]), err=True)
    return BAD_INPUT


def _usage(error: click.UsageError) -> str:
    message = error.format_message().rstrip(".")
    return message[:1].lower() + message[1:]


def _hint(error: click.UsageError) -> str:
    path = error.ctx.command_path if error.ctx else "fieldfare"
    return f"  try: {path} --help"


def _fault(error: Exception) -> int:
    where = _log(error)
    what = " ".join(f"{type(error).__name__}: {error}".split())[:300]
    click.echo(f"fieldfare: a fault of ours: {what} (details in {where})", err=True)
    return FAULT


def _log(error: Exception) -> Path:
    """Write the details where they can be found: beside the data, else in the temporary folder."""
    import tempfile
    import traceback
    from datetime import UTC, datetime

    from api.cli.root import data_folder

    details = "".join(traceback.format_exception(error))
    for folder in (data_folder(), Path(tempfile.gettempdir())):
        path = folder / "fieldfare.log"
        try:
            if folder.is_dir():
                with path.open("a", encoding="utf-8") as log:
                    log.write(f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ} {' '.join(sys.argv[1:])}\n{details}\n")
                return path
        except OSError:
            continue
    return Path("nowhere: no folder could be written")


def _close_output() -> None:
    """Nobody reads on: let the interpreter's last flush go nowhere."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
