"""``jarvision check``: is the photo good, and if not, what to do."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jarvision.app.cli.options import AsJson, SettingsFile
from jarvision.app.cli.plain import echo_json, rounded
from jarvision.base.errors import ExitCode
from jarvision.base.text import printable

if TYPE_CHECKING:
    from jarvision.run.check import PhotoCheck

CHECK_EXAMPLE = "Example: jarvision check IMG_2031.jpg"


def check(
    photos: Annotated[
        list[Path], typer.Argument(metavar="PHOTO...", help="Photos to check, or folders of them.")
    ],
    settings_file: SettingsFile = None,
    as_json: AsJson = False,
) -> None:
    """Say of each PHOTO whether it can be used, else what to do. A folder means all photos in it.

    Quick, for use while the jar still stands before the phone. It looks at the photo, not at the
    mycelium.

    Exit codes: 0 all good, 2 bad usage, 3 no photo in a folder, 4 some photos are not good.
    """
    from jarvision.run.check import check_photos

    checked = []
    for result in check_photos(photos, settings_file=settings_file):
        checked.append(result)
        if not as_json:
            typer.echo(_line(result))
    if as_json:
        echo_json([_document(result) for result in checked])
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


def _document(result: PhotoCheck) -> dict[str, Any]:
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
