"""What a reading was made with. When any of it changes, the photo is read again."""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from functools import cache, lru_cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Final

from jarvision.base.version import __version__
from jarvision.records import BareLook
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.calibration.values import CardValues
from jarvision.vision.card.layout import load_layout, load_ring

PACKAGE: Final = Path(__file__).parents[1]

AFTER_THE_READING: Final = frozenset(
    {
        # whole rooms
        "app", "growth", "history", "report", "run", "truth", "verdict", "register/species",
        # what the rest of the package holds beside it
        "__init__.py", "api.py",
        "base/cgats.py", "base/csv_text.py", "base/ledger.py", "base/long.py", "base/spectra.csv",
        "base/spectra.py", "base/text_files.py", "base/version.py", "records/settling.py",
        "register/amend.py", "register/changes.py", "register/counts.py", "register/diary.py",
        "register/edit.py",
        "register/endings.py", "register/jar_shapes.py", "register/jars.py", "register/lineage.py",
        "register/learned.py", "register/lines.py", "register/looks.py", "register/name_ranges.py",
        "register/outcomes.py", "register/photo_jars.py",
        "settings/count.py", "settings/fruiting.py", "settings/groups.py", "settings/growth.py",
        "settings/history.py", "settings/page.py", "settings/plan.py", "settings/retired.py",
        "settings/table.py", "settings/toml.py",
        "settings/verdict.py",
        "vision/calibration/alone.py", "vision/calibration/as_printed.py",
        "vision/calibration/calibrate.py",
        "vision/calibration/inks.py", "vision/calibration/spectral_fields.py",
        "vision/calibration/value_files.py", "vision/card/draw.py",
        "vision/surface/card.toml", "vision/tissue/card.toml",
    }
)  # fmt: skip
"""Rooms and files that :mod:`jarvision.vision.read` does not reach: a change in them makes no photo
be read again. Whatever is not named counts as making readings: a new module costs a second reading,
never a stale one. What card values and settings come to has digests of its own."""

SAID_BARE: Final = "said bare"
"""Stands for a reference where a photo was read on its own, and the grower says that nothing had
grown in it: another word of the grower reads it again."""

_CODE_SUFFIXES: Final = frozenset({".py", ".onnx", ".npz", ".toml", ".csv"})
_COMPUTE_AND_DRAW: Final = (
    "cattrs", "jinja2", "markupsafe", "matplotlib", "numpy", "opencv-python", "pillow", "scipy",
)  # fmt: skip
_HEX_DIGITS: Final = 12


@dataclass(frozen=True)
class Provenance:
    """What a reading was made with, beside the photo and its name.

    Attributes
    ----------
    code
        Version of the package, and a digest of its parts that make a reading.
    settings
        Digest of the thresholds from card to reading.
    card
        Digest of the card's layout and of the colours and the size of its print.
    jar
        Digest of what the grower says of the jars that the photo may show; empty for nothing.
    reference
        Digest of the bare look that the photo was held against; empty for none, or
        :data:`SAID_BARE`.
    """

    code: str
    settings: str
    card: str
    jar: str = ""
    reference: str = ""

    def with_jar(self, told: str) -> Provenance:
        """Return the provenance of a photo whose reading depends on what was told of its jar."""
        return replace(self, jar=_digest(told)) if told else self

    def with_reference(self, look: BareLook | None) -> Provenance:
        """Return the provenance of a photo that is held against a bare look, or against none."""
        return replace(self, reference=_look_digest(look)) if look else self

    def with_nothing_grown(self) -> Provenance:
        """Return the provenance of a photo read on its own whose contents were said to be bare."""
        return replace(self, reference=SAID_BARE)


def made_with(values: CardValues, settings: PhotoSettings | None = None) -> Provenance:
    """Provenance of what this version reads with these values and settings."""
    return Provenance(
        code=code_version(),
        settings=_digest(json.dumps(asdict(settings or PhotoSettings()), sort_keys=True)),
        card=_card_digest(values),
    )


@cache
def code_version() -> str:
    """Version of the package and digest of its code, such as ``0.1.0+0f1e2d3c4b5a``."""
    found = hashlib.sha256()
    for path in reading_code(PACKAGE):
        found.update(path.relative_to(PACKAGE).as_posix().encode())
        found.update(hashlib.sha256(path.read_bytes()).digest())
    return f"{__version__}+{found.hexdigest()[:_HEX_DIGITS]}"


@cache
def whole_code() -> str:
    """Digest of all files of the package, and of the versions of what it computes and draws with.

    What was made by a part of the package is made anew when any part of it is another.
    """
    found = hashlib.sha256(sys.version.encode())
    for name in _COMPUTE_AND_DRAW:
        with suppress(PackageNotFoundError):
            found.update(f"{name} {version(name)}\n".encode())
    for path in sorted(PACKAGE.rglob("*")):
        if path.is_file() and "__pycache__" not in path.parts:
            found.update(path.relative_to(PACKAGE).as_posix().encode())
            found.update(hashlib.sha256(path.read_bytes()).digest())
    return found.hexdigest()


def reading_code(package: Path) -> Iterator[Path]:
    """Files of a package that a reading is made with, sorted: code, models, tables."""
    for path in sorted(package.rglob("*")):
        name = path.relative_to(package)
        places = {name.as_posix(), *(parent.as_posix() for parent in name.parents)}
        if path.suffix in _CODE_SUFFIXES and not places & AFTER_THE_READING:
            yield path


def _card_digest(values: CardValues) -> str:
    numbers = [f"{number!r}" for number in values.linear.ravel().tolist()]
    kind = (values.reference, f"{values.expected_de00!r}", f"{values.print_scale!r}")
    return _digest("\n".join((repr(load_layout()), repr(load_ring()), *kind, *numbers)))


@lru_cache(maxsize=4096)  # asked for every photo of a jar
def _look_digest(look: BareLook) -> str:
    return _digest(repr(look))


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:_HEX_DIGITS]
