"""``jarvision serve``: the shelf's pages, for this machine or for phones in its network."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from jarvision.app.cli.options import Jobs, OutFolder, Quiet, RegisterFile, SettingsFile
from jarvision.app.cli.running import cores, progress_bar, stoppable
from jarvision.app.cli.values import a_count
from jarvision.base.errors import UsageError
from jarvision.base.text import printable

SERVE_EXAMPLE = "Example: jarvision serve photos --out report --lan"
PORT = 8765
NEEDED = ("starlette", "uvicorn", "segno")


def serve(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder of photos.")],
    out: OutFolder,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones in your own network in, by a QR code.")
    ] = False,
    address: Annotated[
        str,
        typer.Option(
            metavar="IP",
            help="With --lan, where the machine has several: the address that phones open.",
        ),
    ] = "",
    port: Annotated[
        int,
        typer.Option(
            parser=a_count("--port", example="--port 8765", least=1024, most=65535),
            metavar="N",
            help="Port to listen on. Default: 8765.",
        ),
    ] = PORT,
    register: RegisterFile = None,
    jobs: Jobs = None,
    settings_file: SettingsFile = None,
    quiet: Quiet = False,
) -> None:
    """Photograph FOLDER's jars with a phone: photo in, verdict out.

    It needs no internet. Only this machine is listened to, unless --lan is given.

    Exit codes: 0 never (it runs on), 2 bad usage, 5 output folder not writable, 130 stopped.
    """
    _check_installed()
    from jarvision.app.serve.start import ListensAt, Papers, serve_shelf

    if not folder.is_dir():
        raise UsageError(f"{printable(str(folder))} is no folder", "Give the folder of the photos.")
    if address and not lan:
        raise UsageError("--address without --lan lets no phone in", "Say --lan, too.")
    papers = Papers(register, settings_file, jobs or cores())
    with stoppable(out), progress_bar(shown=not quiet, bar=False) as (progress, tell):
        serve_shelf(
            folder,
            out,
            place=ListensAt(port, lan, address),
            papers=papers,
            tell=tell,
            show=typer.echo,
            progress=progress,
        )


def _check_installed() -> None:
    """Raise UsageError when what only this command needs is not there."""
    from importlib.util import find_spec

    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        raise UsageError(
            f"jarvision serve needs {', '.join(missing)}, which is not installed",
            "Install it with: pip install 'jarvision[serve]'.",
        )
