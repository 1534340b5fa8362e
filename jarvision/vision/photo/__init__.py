"""File -> Photo: the only place where pictures are decoded."""

from jarvision.vision.photo.exif import time_without_exif
from jarvision.vision.photo.read import WORKING_LONG_SIDE_PX, picture_digest, read_photo

__all__ = ["WORKING_LONG_SIDE_PX", "picture_digest", "read_photo", "time_without_exif"]
