"""Score mycelium coverage in photos of glass jars.

>>> from jarvision import score_photo
>>> reading = score_photo("photos/K07_2026-03-01.jpg")  # doctest: +SKIP
>>> reading.coverage.percent  # doctest: +SKIP
87.3

Everything named in ``__all__`` is loaded when it is first used, so that the command line can show
its help at once.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from jarvision.base.version import __version__

if TYPE_CHECKING:
    from jarvision.api import score_folder, score_one, score_photo
    from jarvision.base.errors import JarvisionError
    from jarvision.records import Coverage, JarStory, Patch, Reading, ShelfResult, Verdict
    from jarvision.run.check import PhotoCheck, check_photo
    from jarvision.run.one import ScoredOne
    from jarvision.settings.groups import Settings
    from jarvision.settings.toml import find_settings, parse_settings


__all__ = [
    "Coverage",
    "JarStory",
    "JarvisionError",
    "Patch",
    "PhotoCheck",
    "Reading",
    "ScoredOne",
    "Settings",
    "ShelfResult",
    "Verdict",
    "__version__",
    "check_photo",
    "find_settings",
    "parse_settings",
    "score_folder",
    "score_one",
    "score_photo",
]

_HOMES = {
    "jarvision.api": ("score_folder", "score_one", "score_photo"),
    "jarvision.run.check": ("PhotoCheck", "check_photo"),
    "jarvision.run.one": ("ScoredOne",),
    "jarvision.base.errors": ("JarvisionError",),
    "jarvision.records": ("Coverage", "JarStory", "Patch", "Reading", "ShelfResult", "Verdict"),
    "jarvision.settings.groups": ("Settings",),
    "jarvision.settings.toml": ("find_settings", "parse_settings"),
}


def __getattr__(name: str) -> Any:
    """Load a public name from where it lives."""
    for module, names in _HOMES.items():
        if name in names:
            return getattr(import_module(module), name)
    raise AttributeError(f"module 'jarvision' has no attribute '{name}'")


def __dir__() -> list[str]:
    """Names for completion in a notebook."""
    return sorted({*globals(), *__all__})
