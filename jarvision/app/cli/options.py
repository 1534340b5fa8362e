"""Options that mean the same on every command: one name, one help text."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from jarvision.app.cli.values import a_count

OutFolder = Annotated[
    Path, typer.Option("--out", metavar="OUT", help="Folder for the files; made when missing.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON, for scripts.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Say nothing but results and errors.")]
SettingsFile = Annotated[
    Path | None,
    typer.Option(
        "--settings",
        metavar="FILE",
        help="Settings file. Without it: jarvision.toml beside the photos, when there is one.",
    ),
]
PhotoFolderName = Annotated[
    str,
    typer.Argument(metavar="FOLDER", help="Folder of photos."),
]
RegisterFile = Annotated[
    Path | None,
    typer.Option(
        "--register",
        metavar="CSV",
        help="Jar register. Without it: jars.csv in FOLDER, when there is one.",
    ),
]
Jobs = Annotated[
    int | None,
    typer.Option(
        "--jobs",
        parser=a_count("--jobs", example="--jobs 2", least=1, most=1024),
        metavar="N",
        help="Photos read at once. Default: one per core.",
    ),
]
