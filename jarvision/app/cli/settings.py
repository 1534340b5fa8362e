"""``jarvision settings``: every threshold with its unit and reason, or what differs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jarvision.app.cli.console import tell_lines
from jarvision.app.cli.options import AsJson, Quiet, SettingsFile
from jarvision.app.cli.plain import echo_json
from jarvision.base.version import __version__

if TYPE_CHECKING:
    from jarvision.settings.groups import Settings

SETTINGS_EXAMPLE = "Example: jarvision settings photos --changed"


def settings(
    folder: Annotated[
        Path | None,
        typer.Argument(metavar="FOLDER", help="Folder of photos. Without it: the defaults."),
    ] = None,
    settings_file: SettingsFile = None,
    changed: Annotated[
        bool, typer.Option("--changed", help="Only what differs from the defaults.")
    ] = False,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Show every setting with its unit, range and reason.

    The answer is a settings file. To change a setting, write its section and its line into
    jarvision.toml beside your photos. The settings and the species profiles in FOLDER are checked.

    Exit codes: 0 done, 2 a setting or a profile is wrong, or bad usage.
    """
    from jarvision.settings.toml import SETTINGS_NAME, find_settings, to_toml

    place = _existing(folder) if folder else None
    found = find_settings(place or Path(), chosen=settings_file) if place or settings_file else None
    chosen = found or _defaults()
    species = _own_species(place) if place else ()
    if as_json:
        echo_json(_document(chosen, species, changed_only=changed))
        return
    text = to_toml(chosen, changed_only=changed)
    if text:
        typer.echo(text if changed else f"# Settings of jarvision {__version__}.\n\n{text}")
    told = []
    if not text:
        told.append("Every setting has its default.")
    if not changed:
        told.append(
            f"Write only the lines that you change into {SETTINGS_NAME} beside your photos, each "
            "under its [section]."
        )
    if species:
        told.append(f"Species profiles of your own: {', '.join(species)}.")
    tell_lines(told, quiet=quiet)


def _existing(folder: Path) -> Path:
    from jarvision.base.errors import UsageError
    from jarvision.base.text import printable

    if not folder.is_dir():
        raise UsageError(f"{printable(str(folder))} is no folder", "Give the folder of the photos.")
    return folder


def _defaults() -> Settings:
    from jarvision.settings.groups import Settings

    return Settings()


def _own_species(folder: Path) -> tuple[str, ...]:
    from jarvision.register.species import load_profiles, load_species

    packaged = load_profiles()
    found = load_species(folder).profiles
    return tuple(name for name, profile in found.items() if packaged.get(name) is not profile)


def _document(
    chosen: Settings, species: tuple[str, ...], *, changed_only: bool
) -> dict[str, object]:
    from jarvision.settings.table import groups, sections
    from jarvision.settings.toml import changes

    differing = {(c.field.section, c.field.name) for c in changes(chosen)}
    return {
        "jarvision": __version__,
        "settings_digest": chosen.digest(),
        "own_species": list(species),
        "settings": [
            {
                "section": name,
                "name": field.name,
                "value": getattr(group, field.name),
                "default": field.default,
                "unit": field.unit,
                "allowed": field.allowed,
                "reason": field.reason,
            }
            for name, group in groups(chosen)
            for field in sections()[name].fields.values()
            if not changed_only or (name, field.name) in differing
        ],
    }
