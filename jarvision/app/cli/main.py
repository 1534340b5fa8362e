"""The ``jarvision`` command: options in, exit code out. All work is done elsewhere.

stdout is data, stderr is talk. Heavy libraries are loaded inside the commands, so that help and
usage errors come at once.
"""

from __future__ import annotations

import errno
import io
import os
import sys
from typing import Annotated

import typer
import typer.main

from jarvision.app.cli import (
    calibrate,
    card,
    check,
    completion,
    count,
    diary,
    explain,
    hindsight,
    jar_list,
    jars,
    jars_change,
    outcome,
    plan,
    score,
    seen,
    serve,
    settings,
    tags,
    trace,
    watch,
)
from jarvision.app.cli.completion import enable_completion
from jarvision.app.cli.console import DEBUG_VARIABLE, tell_error
from jarvision.app.cli.slips import tell_slip
from jarvision.base.errors import ExitCode, JarvisionError
from jarvision.base.version import __version__

app = typer.Typer(
    name="jarvision",
    help="Score photos of glass jars: which to use, wait for, look at or throw out.",
    epilog="Example: jarvision score photos --out report",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # plain help comes in two thirds of the time and fits every width
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.command("score", epilog=score.SCORE_EXAMPLE)(score.score)
app.command("watch", epilog=watch.WATCH_EXAMPLE)(watch.watch)
app.command("serve", epilog=serve.SERVE_EXAMPLE)(serve.serve)
app.command("check", epilog=check.CHECK_EXAMPLE)(check.check)
app.command("card", epilog=card.CARD_EXAMPLE)(card.card)
app.command("calibrate", epilog=calibrate.CALIBRATE_EXAMPLE)(calibrate.calibrate)
app.command("tags", epilog=tags.TAGS_EXAMPLE)(tags.tags)
app.command("settings", epilog=settings.SETTINGS_EXAMPLE)(settings.settings)
jars.jars_app.command("list", epilog=jar_list.JARS_LIST_EXAMPLE)(jar_list.list_jars)
jars.jars_app.command("set", epilog=jars_change.JARS_SET_EXAMPLE)(jars_change.set_jar)
jars.jars_app.command("rename", epilog=jars_change.JARS_RENAME_EXAMPLE)(jars_change.rename_jar)
jars.jars_app.command("remove", epilog=jars_change.JARS_REMOVE_EXAMPLE)(jars_change.remove_jar)
jars.jars_app.command("seen", epilog=seen.JARS_SEEN_EXAMPLE)(seen.seen)
app.add_typer(jars.jars_app)
app.command("diary", epilog=diary.DIARY_EXAMPLE)(diary.diary)
app.command("trace", epilog=trace.TRACE_EXAMPLE)(trace.trace_jar)
app.command("explain", epilog=explain.EXPLAIN_EXAMPLE)(explain.explain)
app.command("plan", epilog=plan.PLAN_EXAMPLE)(plan.plan)
app.command("outcome", epilog=outcome.OUTCOME_EXAMPLE)(outcome.outcome)
app.command("hindsight", epilog=hindsight.HINDSIGHT_EXAMPLE)(hindsight.hindsight)
count.count_app.command("next", epilog=count.COUNT_NEXT_EXAMPLE)(count.next_walls)
count.count_app.command("compare", epilog=count.COUNT_COMPARE_EXAMPLE)(count.compare)
count.count_app.command("export", epilog=count.COUNT_EXPORT_EXAMPLE)(count.export)
app.add_typer(count.count_app)
app.command("completion", epilog=completion.COMPLETION_EXAMPLE)(completion.completion)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"jarvision {__version__}")
        raise typer.Exit


@app.callback()
def main(
    _version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_show_version, is_eager=True, help="Show the version and stop."
        ),
    ] = False,
) -> None:
    """Score photos of glass jars: which to use, wait for, look at or throw out."""


def run() -> None:
    """Run the command line and leave with one of :class:`~jarvision.base.errors.ExitCode`.

    The one place where exceptions become sentences: no user meets a traceback.
    """
    for stream in (sys.stdout, sys.stderr):
        _replace_unwritable(stream)
    enable_completion()
    try:
        code = app(prog_name="jarvision", standalone_mode=False) or ExitCode.DONE
        if code == ExitCode.STOPPED:  # where no command has said it in words of its own
            tell_error("Stopped", "Photos are never changed.")
        sys.stdout.flush()  # a pipe that was closed shows here, if not before
    except SystemExit as end:
        if not _is_closed_pipe(end.__context__):
            raise
        code = ExitCode.PIPE_CLOSED
    except Exception as error:  # noqa: BLE001 - whatever it is, one sentence and a code
        code = tell(error)
    if code == ExitCode.PIPE_CLOSED:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # nothing is left to say
    sys.exit(code)


def _is_closed_pipe(error: object) -> bool:
    """Whether whoever read a pipe, such as head, had enough."""
    return isinstance(error, OSError) and error.errno in (errno.EPIPE, errno.ESHUTDOWN)


def _replace_unwritable(stream: object) -> None:
    """Let a terminal without a letter show a question mark instead of ending the run."""
    if isinstance(stream, io.TextIOWrapper):
        stream.reconfigure(errors="replace")


def tell(error: Exception) -> ExitCode:
    """Tell an exception in one sentence with its remedy, and return the exit code."""
    if _is_closed_pipe(error):
        return ExitCode.PIPE_CLOSED
    if hasattr(error, "format_message"):  # the command line could not be understood
        return _tell_slip(error)
    if isinstance(error, JarvisionError):
        tell_error(error.message, error.remedy)
        return error.exit_code
    if isinstance(error, ImportError) and _lacks_system_library(error):
        tell_error(
            f"OpenCV lacks a library of the system ({error})",
            "On Debian or Ubuntu: sudo apt install libgl1 libglib2.0-0.",
        )
        return ExitCode.UNEXPECTED
    tell_error(
        f"Something unexpected went wrong ({type(error).__name__}: {error})",
        f"Run it again with {DEBUG_VARIABLE}=1 set to see where.",
        trace=error,
    )
    return ExitCode.UNEXPECTED


def _tell_slip(error: Exception) -> ExitCode:
    """Tell a usage error of the command line; what lacks everything is answered with its help."""
    if type(error).__name__ == "NoArgsIsHelpError":
        typer.echo(str(error), err=True)
        return ExitCode.BAD_USAGE
    tell_error(*tell_slip(error, typer.main.get_command(app), sys.argv[1:]))
    return ExitCode.BAD_USAGE


def _lacks_system_library(error: ImportError) -> bool:
    """Tell a wheel without its system libraries from a package that is not installed."""
    return "shared object" in str(error)
