"""``jarvision calibrate``: learn the printed card's colours from photos of it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.options import AsJson, Quiet, SettingsFile
from jarvision.app.cli.plain import echo_json
from jarvision.app.cli.values import a_number
from jarvision.base.text import counted, printable

if TYPE_CHECKING:
    from jarvision.vision.calibration.calibrate import Calibration

CALIBRATE_EXAMPLE = "Example: jarvision calibrate card1.jpg card2.jpg --out photos --bar-mm 99.5"


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
            "--bar-mm",
            parser=a_number("--bar-mm", example="--bar-mm 99.5", least=1, most=1000),
            metavar="MM",
            help="Length of the card's 100 mm bar by your ruler.",
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
    if as_json:
        echo_json(_document(result))
    else:
        typer.echo(printable(str(result.path)))
    undo = f"All photos in {out} are now read with it. To undo that, delete the file."
    tell_lines([*_left_out(result), *_findings(result, used=used), undo], quiet=quiet)


def _document(result: Calibration) -> dict[str, Any]:
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


def _left_out(result: Calibration) -> Iterator[str]:
    from jarvision.records.photo_reasons import PHOTO_REASONS

    for refusal in result.refused:
        reason = PHOTO_REASONS.get(refusal.reason)
        remedy = f" {reason.remedy}" if reason else ""
        yield f"{refusal.photo} left out: {refusal.detail}.{remedy}"


def _findings(result: Calibration, *, used: int) -> Iterator[str]:
    from jarvision.vision.calibration.inks import INKS, are_full
    from jarvision.vision.calibration.values import NOMINAL_DE00

    shares = zip(INKS, result.inks.colours, strict=True)
    inks = ", ".join(f"{ink} {share:.0%}" for ink, share in shares)
    strong = "good" if are_full(result.inks) else "fair"
    yield f"From {counted(used, 'photo')}. The inks are {strong}: {inks} of full strength."
    error = result.values.expected_de00
    known = "good" if error <= NOMINAL_DE00 / 2 else "fair"
    yield (
        f"What is known of the card's colours is {known}: they are off by about {error:.1f} of the "
        f"steps that an eye just tells apart, without this file by about {NOMINAL_DE00:.0f}. A "
        "measurement of the card would be better."
    )
    yield f"Print scale: {result.values.print_scale:.1%}."
    if used == 1:
        yield "Two or three photos from different places would be better than one."
