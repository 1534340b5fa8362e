"""Which jar a photo shows: its tag and its name together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import JarShape, Photo
from jarvision.register.photo_names import NameParts, day_of, tag_agrees
from jarvision.vision.card.squares import Squares, find_squares
from jarvision.vision.card.tags import read_tags


@dataclass(frozen=True)
class KnownJar:
    """What is known before a photo is looked at: its squares, its jar, what the grower says of it.

    ``shape`` is None when nothing is known of the jar's glass.
    """

    squares: Squares
    jar: str
    shape: JarShape | None


def which_jar(photo: Photo, parts: NameParts, *, shapes: Mapping[str, JarShape]) -> KnownJar:
    """Tell a photo's jar, before it is looked at: by its tag when one is read, else by its name.

    A name that is spelt out in the register's way (``B2-07``) is kept when its number is the
    tag's; a name that says nothing (a camera's counter or date) gives way to the tag's number.
    Without a tag such a photo has no jar: its name is then empty.

    Raises
    ------
    PhotoRefusedError
        ``jar_mismatch``: tag and name disagree.
    """
    squares = find_squares(photo.rgb)
    jar = _jar_of(squares, parts)
    return KnownJar(squares, jar, shapes.get(jar))


def _jar_of(squares: Squares, parts: NameParts) -> str:
    tags = read_tags(squares)
    if not tags:
        return parts.jar
    tag = max(tags, key=lambda seen: float(np.ptp(seen.corners_px[:, 0]))).number
    if day_of(parts.jar) is not None or not any(char.isdigit() for char in parts.jar):
        return str(tag)
    if not tag_agrees(parts.jar, tag):
        raise PhotoRefusedError("jar_mismatch", f"the tag says {tag}, the name says {parts.jar}")
    return parts.jar
