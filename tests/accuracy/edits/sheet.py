"""The worst silent errors to look at: the edited photo around its jar, with what was read."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np

from jarvision.records import ByteArray
from jarvision.vision.photo import read_photo
from jarvision.vision.read import look

from .reading import Answer
from .scene import JarScene
from .sources import Source, TruePhoto
from .table import EDITS, edited

TILE = (220, 170)  # rows, columns
COLUMNS, MOST, EACH = 6, 24, 2
QUALITY = 60


def worst(found: Sequence[tuple[Source, Sequence[Answer]]]) -> list[tuple[TruePhoto, Answer]]:
    """The farthest off of the silent answers, at most two of an edit."""
    pairs = []
    for source, answers in found:
        photos = {photo.path.stem: photo for photo in source.photos}
        pairs += [(photos[a.photo], a) for a in answers if a.silent and a.edit in EDITS]
    pairs.sort(key=lambda pair: -abs(pair[1].error))
    taken: list[tuple[TruePhoto, Answer]] = []
    for pair in pairs:
        if sum(a.edit == pair[1].edit for _, a in taken) < EACH and len(taken) < MOST:
            taken.append(pair)
    return taken


def tile(photo: TruePhoto, answer: Answer) -> ByteArray:
    """The jar in the edited photo, with two lines of words."""
    scene = JarScene.of(look(read_photo(photo.path, name=photo.path.name)))
    rgb = edited(scene, EDITS[answer.edit])
    if rgb.shape == scene.photo.rgb.shape:
        y, x = np.nonzero(scene.whole)
        room = round(0.25 * float(np.ptp(x)))
        rgb = rgb[max(0, y.min() - room) : y.max() + room, max(0, x.min() - room) : x.max() + room]
    share = min(TILE[0] / rgb.shape[0], TILE[1] / rgb.shape[1])
    small = cv2.resize(rgb, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    out = np.zeros((TILE[0] + 28, TILE[1], 3), np.uint8)
    out[28 : 28 + small.shape[0], : small.shape[1]] = small
    numbers = (f"{answer.true_percent:.0f} read as {answer.percent:.0f} "
               f"[{answer.low:.0f}, {answer.high:.0f}]")  # fmt: skip
    for line, words in enumerate((answer.edit, numbers)):
        cv2.putText(out, words, (3, 11 + 13 * line), cv2.FONT_HERSHEY_SIMPLEX, 0.36,
                    (255, 255, 255), 1, cv2.LINE_AA)  # fmt: skip
    return out


def write(found: Sequence[tuple[Source, Sequence[Answer]]], path: Path) -> None:
    """Write the sheet; nothing when there is no silent error."""
    tiles = [tile(photo, answer) for photo, answer in worst(found)]
    if not tiles:
        return
    while len(tiles) % COLUMNS:
        tiles.append(np.zeros_like(tiles[0]))
    rows = [np.hstack(tiles[i : i + COLUMNS]) for i in range(0, len(tiles), COLUMNS)]
    picture = cv2.cvtColor(np.vstack(rows), cv2.COLOR_RGB2BGR)
    cv2.imwrite(str(path), picture, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
