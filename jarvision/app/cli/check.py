"""``jarvision check``: is the photo good, and if not, what to do."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jarvision.app.cli.options import AsJson, SettingsFile
from jarvision.base.errors import ExitCode
from jarvision.base.text import printable

if TYPE_CHECKING:
    from jarvision.run.check import PhotoCheck

EXAMPLE = "Example: jarvision check IMG_2031.jpg"


def check(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="Photos to check.")],
    settings_file: SettingsFile = None,
    as_json: AsJson = False,
) -> None:
    """Say of each PHOTO whether it can be used, else what to do.

    Quick, for use while the jar still stands before the phone. It looks at the photo, not at the
    mycelium.

    Exit codes: 0 all good, 2 bad usage, 4 some photos are not good.
    """
    from jarvision.run.check import check_photo
    from jarvision.settings.toml import read_settings

    settings = read_settings(settings_file).photo if settings_file else None
    checked = []
    for path in photos:
        result = check_photo(path, settings=settings)
        checked.append(result)
        if not as_json:
            typer.echo(_line(result))
    if as_json:
        typer.echo(json.dumps([_record(result) for result in checked], indent=2))
    if not all(result.good for result in checked):
        raise typer.Exit(ExitCode.SOME_UNUSABLE)


def _line(result: PhotoCheck) -> str:
    from jarvision.records.photo_reasons import PHOTO_REASONS

    notes = "".join(f" (note: {note})" for note in result.notes)
    if result.good:
        return printable(f"{result.photo}: good{notes}")
    reason = PHOTO_REASONS.get(result.reason)
    meaning = reason.meaning if reason else result.reason
    numbers = f" ({result.detail})" if result.detail else ""
    return printable(f"{result.photo}: {meaning}{numbers}. {result.advice}{notes}".rstrip())


def _record(result: PhotoCheck) -> dict[str, Any]:
    def rounded(value: float | None, digits: int) -> float | None:
        return None if value is None else round(value, digits)

    return {
        "photo": printable(result.photo),
        "status": "ok" if result.good else "unusable",
        "reason": result.reason,
        "detail": result.detail,
        "advice": result.advice,
        "seen_percent": rounded(result.seen_percent, 1),
        "colour_de00_median": rounded(result.colour_de00_median, 2),
        "px_per_mm": rounded(result.px_per_mm, 2),
        "notes": list(result.notes),
    }
