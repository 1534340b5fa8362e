"""All that lies beside the photos, loaded in one place, the same for every command and Python."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from jarvision.register import jar_shapes, looks, outcomes
from jarvision.register.jars import REGISTER_NAME, Register, open_register, read_register
from jarvision.register.photo_jars import read_photo_jars
from jarvision.register.species import SpeciesBook, load_species
from jarvision.settings import toml
from jarvision.settings.groups import Settings

if TYPE_CHECKING:
    from jarvision.records import JarShape
    from jarvision.vision.calibration.values import CardValues


@dataclass(frozen=True)
class Shelf:
    """What the grower keeps beside the photos of one folder.

    Attributes
    ----------
    folder
        The folder of photos; for paperwork, the one that the register lies in.
    register_path
        Where the register is, or would be.
    settings
        Those of ``jarvision.toml``, or the defaults.
    species
        Profiles of the package and of the folder ``species``.
    register
        ``jars.csv``; empty when there is none.
    outcomes
        ``outcomes.csv`` beside the register, the lines of each jar taken together.
    photo_jars
        ``photo_jars.csv``: the jars of photos whose names do not say them.
    looks
        ``seen.csv`` beside the register: by jar, what somebody found fine about it.
    """

    folder: Path
    register_path: Path
    settings: Settings
    species: SpeciesBook
    register: Register
    outcomes: Mapping[str, outcomes.JarOutcome]
    photo_jars: Mapping[str, str] = field(default_factory=dict)
    looks: Mapping[str, tuple[looks.SeenFine, ...]] = field(default_factory=dict)

    @cached_property
    def values(self) -> CardValues:
        """Colours and size of the user's print, of the folder ``calibration``; read when asked for.

        Raises
        ------
        UsageError
            A file there is wrong.
        """
        from jarvision.vision.calibration.value_files import load_card_values

        return load_card_values(self.folder)

    @property
    def shapes(self) -> Mapping[str, JarShape]:
        """What is known of the glass of the register's jars, from ``jar_profiles.toml`` too.

        Raises
        ------
        UsageError
            That file is wrong.
        """
        return self._shapes[0]

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is odd but not wrong, one sentence each without a full stop."""
        return (*self.register.warnings, *_told_changes(self.settings), *self._shapes[1])

    @property
    def outcomes_path(self) -> Path:
        """Where the outcomes are, or would be."""
        return self.register_path.parent / outcomes.OUTCOMES_NAME

    @property
    def looks_path(self) -> Path:
        """Where what was found fine is, or would be."""
        return self.register_path.parent / looks.LOOKS_NAME

    def shapes_for(self, photo: str) -> dict[str, JarShape]:
        """Shapes that the reading of a photo, by its name under the folder, can depend on."""
        return jar_shapes.shapes_for_photo(photo, self.shapes, self.photo_jars.get(photo, ""))

    @cached_property
    def _shapes(self) -> tuple[dict[str, JarShape], tuple[str, ...]]:
        profiles = jar_shapes.load_jar_shapes(self.folder)
        return jar_shapes.shapes_of(self.register.values(), profiles)


def open_shelf(
    folder: Path,
    *,
    register: Path | None = None,
    settings: Settings | None = None,
    settings_file: Path | None = None,
) -> Shelf:
    """Load what lies beside the photos.

    Parameters
    ----------
    folder
        A folder of this machine; that of photos behind an address is
        :attr:`jarvision.run.sources.PhotoFolder.root`.
    register
        None: ``jars.csv`` in ``folder``, when there is one.
    settings
        Used as they are; None: those of ``settings_file``, or of ``jarvision.toml`` in ``folder``.

    Raises
    ------
    UsageError
        No register where one was named; the register, an outcome, the settings or a species
        profile of the grower's own is wrong as it stands.
    """
    path = register or folder / REGISTER_NAME
    if register is not None:
        open_register(path)  # what is wrong with a file that was named is told first
    chosen = settings or toml.find_settings(folder, chosen=settings_file)
    species = load_species(folder)
    there = register is not None or path.is_file()
    lines = outcomes.read_outcomes(path.parent / outcomes.OUTCOMES_NAME)
    return Shelf(
        folder=folder,
        register_path=path,
        settings=chosen,
        species=species,
        register=read_register(path, is_known_species=species.knows) if there else Register(),
        outcomes=outcomes.taken_together(lines),
        photo_jars=read_photo_jars(folder),
        looks=looks.read_looks(path.parent / looks.LOOKS_NAME),
    )


def home_of(photo: Path) -> Path:
    """The folder that would be scored: the photo's own, or the one above a jar's folder.

    Told by what reading a photo needs and nobody keeps elsewhere; a register may lie anywhere.
    """
    from jarvision.vision.calibration.value_files import value_files

    near = placed(photo).parent
    for folder in (near, near.parent):
        marks = (folder / toml.SETTINGS_NAME, folder / jar_shapes.SHAPES_NAME)
        if any(mark.is_file() for mark in marks) or value_files(folder):
            return folder
    return near


def placed(photo: Path) -> Path:
    """A photo's full path; a link that is the photo itself keeps its own name, which counts."""
    return photo.parent.resolve() / photo.name


def _told_changes(settings: Settings) -> list[str]:
    """One line that names what differs from the defaults, for which alone figures are stated."""
    changed = toml.changes(settings)
    if not changed:
        return []
    told = "; ".join(map(str, changed))
    return [f"settings of your own, for which no accuracy was measured: {told}"]
