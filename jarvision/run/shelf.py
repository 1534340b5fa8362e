"""All that lies beside the photos, loaded in one place, the same for every command and Python."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from jarvision.register import diary, jar_shapes, looks, outcomes
from jarvision.register.changes import CHANGES_NAME, Past, past_of, read_changes
from jarvision.register.jars import REGISTER_NAME, Register, open_register, read_register
from jarvision.register.learned import with_what_is_learned
from jarvision.register.photo_jars import read_photo_jars
from jarvision.register.species import SpeciesBook, load_species
from jarvision.settings import toml
from jarvision.settings.groups import Settings

if TYPE_CHECKING:
    from jarvision.records import DiaryLine, JarShape, Reading
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
    diary
        ``diary.csv`` beside the register: what was told of each jar, by day.
    past
        ``jars_history.csv`` beside the register: former names, and jars that were taken out.
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
    diary: Mapping[str, tuple[DiaryLine, ...]] = field(default_factory=dict)
    past: Past = field(default_factory=Past)
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

        A jar's former names, which its photos may bear, stand there as well.

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

    @property
    def diary_path(self) -> Path:
        """Where the diary is, or would be."""
        return self.register_path.parent / diary.DIARY_NAME

    @property
    def by_photo_names(self) -> Register:
        """The register with a line for each former name, too, as photos may still bear it."""
        former = {
            old: replace(self.register[new], jar=old)
            for old, new in self.past.names.items()
            if new in self.register
        }
        return Register({**self.register, **former})

    def under_todays_name(self, reading: Reading) -> Reading:
        """The reading of a photo that may still bear a former name of its jar."""
        jar, shown = self.past.now(reading.jar), self.past.now(reading.reference_jar)
        if (jar, shown) == (reading.jar, reading.reference_jar):
            return reading
        return replace(reading, jar=jar, reference_jar=shown)

    def shapes_for(self, photo: str) -> dict[str, JarShape]:
        """Shapes that the reading of a photo, by its name under the folder, can depend on."""
        return jar_shapes.shapes_for_photo(photo, self.shapes, self.photo_jars.get(photo, ""))

    @cached_property
    def _shapes(self) -> tuple[dict[str, JarShape], tuple[str, ...]]:
        profiles = jar_shapes.load_jar_shapes(self.folder)
        shapes, odd = jar_shapes.shapes_of(self.register.values(), profiles)
        former = {old: shapes[new] for old, new in self.past.names.items() if new in shapes}
        return {**shapes, **former}, odd


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
        No register where one was named; the register, an outcome, the diary, a look, the history,
        the settings or a species profile of the grower's own is wrong as it stands.
    """
    path = register or folder / REGISTER_NAME
    if register is not None:
        open_register(path)  # what is wrong with a file that was named is told first
    chosen = settings or toml.find_settings(folder, chosen=settings_file)
    species = load_species(folder)
    there = register is not None or path.is_file()
    known = read_register(path, is_known_species=species.knows) if there else Register()
    known = with_what_is_learned(known)
    past = past_of(read_changes(path.parent / CHANGES_NAME), known)
    lines = outcomes.read_outcomes(path.parent / outcomes.OUTCOMES_NAME, names=past.names)
    return Shelf(
        folder=folder,
        register_path=path,
        settings=chosen,
        species=species,
        register=_with_former_names(known, past),
        outcomes=outcomes.taken_together(lines),
        photo_jars=read_photo_jars(folder),
        diary=diary.by_jar(diary.read_diary(path.parent / diary.DIARY_NAME, names=past.names)),
        past=past,
        looks=looks.read_looks(path.parent / looks.LOOKS_NAME, names=past.names),
    )


def _with_former_names(register: Register, past: Past) -> Register:
    """The register, each jar with the names that it had before."""
    entries = {jar: replace(entry, once=past.once(jar)) for jar, entry in register.items()}
    return Register(entries, register.warnings)


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
