"""Run a command of the command line, and what came of it."""

from __future__ import annotations

from typer.testing import CliRunner

from jarvision.app.cli import main
from jarvision.base.errors import JarvisionError


def call(*args: str) -> tuple[int, str, str]:
    """Run a command; an error of the user's comes back as its exit code and sentences."""
    result = CliRunner().invoke(main.app, list(args))
    if isinstance(result.exception, JarvisionError):
        return result.exception.exit_code, result.stdout, str(result.exception)
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout, result.stderr
