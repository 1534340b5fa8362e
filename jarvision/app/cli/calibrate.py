"""``jarvision calibrate``: learn the printed card's colours from photos of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jarvision.app.cli.console import stderr
from jarvision.app.cli.options import AsJson, Quiet, SettingsFile
from jarvision.base.text import printable

if TYPE_CHECKING:
    from jarvision.vision.calibration.calibrate import Calibration

EXAMPLE = "Example: jarvision calibrate card1.jpg card2.jpg --out photos --bar-mm 99.5"


def calibrate(
    photos: Annotated[
        list[Path], typer.Argument(metavar="PHOTO...", help="Photos of the fresh card, no jar.")
    ],
    out: Annotated[
        Path,
        typer.Option(
            "--out", metavar="FOLDER", help="Folder of your photos; the file goes to calibration/."
        ),
    ],
    bar_mm: Annotated[
        float,
        typer.Option(
            "--bar-mm", metavar="MM", help="Length of the card's 100 mm bar by your ruler."
        ),
    ],
    settings_file: SettingsFile = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Learn the colours of your print from photos of the card.

    Take two or more PHOTOs of the card alone, by a window, without sun, lamp or shadow on it. The
    file is used for every photo that is scored in FOLDER.

    Exit codes: 0 done, 2 wrong print scale, an ink has run out or bad usage, 3 no photo shows the
    card well, 5 folder not writable.
    """
    from jarvision.settings.toml import find_settings
    from jarvision.vision.calibration.calibrate import calibrate_print

    settings = find_settings(out, chosen=settings_file).photo.colour
    result = calibrate_print(photos, out=out, bar_mm=bar_mm, settings=settings)
    used = len(photos) - len(result.refused)
    typer.echo(json.dumps(_record(result), indent=2) if as_json else printable(str(result.path)))
    if not quiet:
        _tell(result, used=used)


def _record(result: Calibration) -> dict[str, Any]:
    from jarvision.vision.calibration.inks import INKS

    return {
        "file": printable(str(result.path)),
        "card_values": result.values.reference,
        "card_values_de00": round(result.values.expected_de00, 2),
        "print_scale": round(result.values.print_scale, 4),
        "inks": {
            ink: round(float(share), 3)
            for ink, share in zip(INKS, result.inks.colours, strict=True)
        },
        "left_out": [
            {"photo": printable(r.photo), "reason": r.reason, "detail": r.detail}
            for r in result.refused
        ],
    }


def _tell(result: Calibration, *, used: int) -> None:
    from jarvision.records.photo_reasons import PHOTO_REASONS
    from jarvision.vision.calibration.inks import INKS

    console = stderr()
    for refusal in result.refused:
        reason = PHOTO_REASONS.get(refusal.reason)
        remedy = f" {reason.remedy}" if reason else ""
        line = f"{refusal.photo} left out: {refusal.detail}.{remedy}"
        console.print(printable(line), soft_wrap=True)
    inks = ", ".join(
        f"{ink} {share:.0%}" for ink, share in zip(INKS, result.inks.colours, strict=True)
    )
    photos = "1 photo" if used == 1 else f"{used} photos"
    lines = [
        f"From {photos}. Strength of the inks: {inks}.",
        f"Expected error of a swatch: {result.values.expected_de00:.1f} CIEDE2000; a measurement "
        "of the card would be better.",
        f"Print scale: {result.values.print_scale:.1%}.",
    ]
    if used == 1:
        lines.append("Two or three photos from different places would be better than one.")
    for line in lines:
        console.print(line, soft_wrap=True)
