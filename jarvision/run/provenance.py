"""What a reading was made with. When any of it changes, the photo is read again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path
from typing import Final

from jarvision.base.version import __version__
from jarvision.settings.vision import PhotoSettings
from jarvision.vision.calibration.values import CardValues
from jarvision.vision.card.layout import load_layout

AFTER_THE_READING: Final = frozenset(
    {"api.py", "app", "growth", "history", "report", "run", "truth", "verdict"}
)
"""Parts of the package that come after a reading or carry it about. Whatever is not named here
counts as making readings: a new module costs a second reading, never a stale one."""

_CODE_SUFFIXES: Final = frozenset({".py", ".onnx", ".toml"})
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
    """

    code: str
    settings: str
    card: str
    jar: str = ""

    def with_jar(self, told: str) -> Provenance:
        """Return the provenance of a photo whose reading depends on what was told of its jar."""
        return replace(self, jar=_digest(told)) if told else self


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
    root = Path(__file__).parents[1]
    for path in _reading_code(root):
        found.update(path.relative_to(root).as_posix().encode())
        found.update(hashlib.sha256(path.read_bytes()).digest())
    return f"{__version__}+{found.hexdigest()[:_HEX_DIGITS]}"


def _reading_code(root: Path) -> Iterator[Path]:
    for path in sorted(root.rglob("*")):
        first = path.relative_to(root).parts[0]
        if path.suffix in _CODE_SUFFIXES and first not in AFTER_THE_READING:
            yield path


def _card_digest(values: CardValues) -> str:
    numbers = [f"{number!r}" for number in values.linear.ravel().tolist()]
    kind = (values.reference, f"{values.expected_de00!r}", f"{values.print_scale!r}")
    return _digest("\n".join((repr(load_layout()), *kind, *numbers)))


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:_HEX_DIGITS]
