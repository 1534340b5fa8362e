"""Edited photos as files: pixels, format and what is left of EXIF."""

from __future__ import annotations

import math
from pathlib import Path

from PIL import Image
from PIL.ExifTags import IFD, Base

from jarvision.records import ByteArray

from .scene import Edit, Saved

SUFFIXES = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp"}
FOCAL_TAGS = (Base.FocalLength, Base.FocalLengthIn35mmFilm)
PNG_EFFORT = 1


def exif_of(photo: Path, saved: Saved, *, size: tuple[int, int]) -> Image.Exif:
    """EXIF of a photo as an edit leaves it: upright, and the focal length changed or lost.

    ``size`` is the edited picture's width and height.
    """
    with Image.open(photo) as first:
        exif = first.getexif()
        factor = saved.focal
        if factor == 0.0:
            factor = math.hypot(*first.size) / math.hypot(*size)
    if not saved.exif:
        return Image.Exif()
    exif[Base.Orientation] = 1  # pixels are upright already
    details = exif.get_ifd(IFD.Exif)
    for tag in FOCAL_TAGS:
        if tag in details:
            if factor is None:
                del details[tag]
            else:
                details[tag] = max(1, round(float(details[tag]) * factor))
    return exif


def save_edited(rgb: ByteArray, edit: Edit, *, like: Path, folder: Path) -> Path:
    """Write an edited photo under its own name, with what is left of its EXIF."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{like.stem}{SUFFIXES[edit.saved.form]}"
    picture = Image.fromarray(rgb)
    exif = exif_of(like, edit.saved, size=picture.size)
    if edit.saved.form == "PNG":
        picture.save(path, compress_level=PNG_EFFORT, exif=exif)
    else:
        picture.save(path, edit.saved.form, quality=edit.saved.quality, exif=exif)
    return path
