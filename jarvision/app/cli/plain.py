"""Values as JSON has them, and a document of them on stdout."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from datetime import date


def echo_json(document: object) -> None:
    """Print a document as ASCII JSON."""
    typer.echo(json.dumps(document, indent=2, allow_nan=False))


def iso(day: date | None) -> str | None:
    """A day as ISO 8601."""
    return day.isoformat() if day else None


def rounded(value: float | None, digits: int) -> float | None:
    """A number with as many digits as it deserves."""
    return None if value is None else round(value, digits)
