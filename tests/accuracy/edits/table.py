"""All edits, by word."""

from __future__ import annotations

import hashlib
import inspect
from functools import cache
from types import ModuleType

import numpy as np

from jarvision.records import ByteArray
from tests.accuracy import repaint, spoil, white_looks

from . import blur, card, codec, contents, crop, jar, label, lens, light, paint, scene, veil
from .scene import Edit, JarScene

MODULES = (lens, crop, codec, blur, veil, label, light, card, jar, contents)
SHARED = (scene, paint, repaint, spoil, white_looks)
"""What edits of any module stand on."""

BORROWED = {codec: lens, jar: card}
"""Whose functions a module uses besides."""

EDITS: dict[str, Edit] = {edit.word: edit for module in MODULES for edit in module.EDITS}


def edited(given: JarScene, edit: Edit) -> ByteArray:
    """The edited pixels: the same again for the same photo and edit."""
    rng = np.random.default_rng([*given.photo.name.encode(), *edit.word.encode()])
    return edit.apply(given, rng)


@cache
def edit_digest(word: str) -> str:
    """Of the code that makes an edit."""
    owner = next(module for module in MODULES if EDITS[word] in module.EDITS)
    found = hashlib.sha256(word.encode())
    for module in filter(None, (owner, BORROWED.get(owner), *SHARED)):
        found.update(_source(module))
    return found.hexdigest()[:12]


@cache
def _source(module: ModuleType) -> bytes:
    return inspect.getsource(module).encode()
