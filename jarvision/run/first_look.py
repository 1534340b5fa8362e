"""What a photo tells before it has a name: the tag of its jar, and when it was taken."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import Reading
from jarvision.register.photo_names import NameParts
from jarvision.run.jobs import Job
from jarvision.vision.photo import read_photo, time_without_exif
from jarvision.vision.which import which_jar

SMALL_PX: Final = 360
"""The longer side of a picture that is only to be recognised."""


def warm_up() -> None:
    """Load in a worker what the first photo would wait for."""
    from jarvision.vision.tissue.network import load_networks

    load_networks()


def first_look(job: Job) -> Reading:
    """Look for the tag and the time; a :data:`jarvision.run.jobs.PhotoReader`.

    The reading has no numbers. Its jar is the tag's number, empty without one; where the file is
    no picture, the reason says so.
    """
    try:
        photo = read_photo(job.path, name=job.name)
    except PhotoRefusedError as refusal:
        taken, source = time_without_exif(job.path, dated=None)
        return Reading(
            job.name, "", "front", taken, source, "unusable", refusal.reason, refusal.detail
        )
    tag = which_jar(photo, NameParts("", "front", None), shapes={}).jar
    return Reading(job.name, tag, "front", photo.taken_at, photo.time_source, "ok")


def small_picture(path: Path) -> bytes:
    """A photo small, as JPEG, for the eye to tell which one it is. For worker processes.

    Raises
    ------
    PhotoRefusedError
        It cannot be read.
    """
    import cv2

    from jarvision.run.count_pictures import jpeg_of

    rgb = read_photo(path, name=path.name).rgb
    scale = SMALL_PX / max(rgb.shape[:2])
    small = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return jpeg_of(np.asarray(small, np.uint8), quality=85)
