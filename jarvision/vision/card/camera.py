"""Where the camera stands, by the focal length, and what the card says of the focal length."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import CardFit, FloatArray


def camera_matrix(shape: tuple[int, ...], focal_px: float) -> FloatArray:
    """Pinhole camera ``(3, 3)`` of a picture of some rows and columns, looking at its middle."""
    rows, cols = shape[:2]
    return np.array(
        [[focal_px, 0.0, (cols - 1) / 2.0], [0.0, focal_px, (rows - 1) / 2.0], [0.0, 0.0, 1.0]]
    )


def pose_of(
    card_mm: FloatArray, seen_px: FloatArray, camera: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Rotation and translation, card to camera: plane-based start, then least squares in px.

    Source of the start: Collins and Bartoli 2014, infinitesimal plane-based pose estimation
    (from memory), as in OpenCV.

    Raises
    ------
    PhotoRefusedError
        ``no_card``: there is none.
    """
    import cv2

    flat = np.column_stack([card_mm, np.zeros(len(card_mm))])
    done, turn, shift = cv2.solvePnP(flat, seen_px, camera, None, flags=cv2.SOLVEPNP_IPPE)
    if not done:
        raise PhotoRefusedError("no_card", "the card's position could not be worked out")
    turn, shift = cv2.solvePnPRefineLM(flat, seen_px, camera, None, turn, shift)
    rotation, _ = cv2.Rodrigues(turn)
    return np.asarray(rotation, dtype=np.float64), np.asarray(shift, dtype=np.float64).ravel()


def refocus(card: CardFit, corners_mm: FloatArray, focal_px: float) -> CardFit:
    """The same card seen by a lens of another focal length: its camera stands elsewhere.

    ``corners_mm`` ``(4, 2)`` are those of the card that ``outline_px`` shows.
    """
    camera = card.camera.copy()
    camera[0, 0] = camera[1, 1] = focal_px
    rotation, translation = pose_of(corners_mm, card.outline_px, camera)
    return replace(card, camera=camera, rotation=rotation, translation=translation)


def strain_of(card: CardFit) -> tuple[float, float]:
    """How the card would have to be misshapen to look as it does through this lens.

    Log of its width over its height, against the true ones, and the cosine of the angle between
    both: zero for the right focal length. A card seen head on looks the same through any lens.
    Source: the two constraints that a plane puts on the camera, Zhang 2000, A flexible new
    technique for camera calibration (from memory).
    """
    across, down = np.linalg.solve(card.camera, card.homography)[:, :2].T
    wide, high = float(np.linalg.norm(across)), float(np.linalg.norm(down))
    return float(np.log(wide / high)), float(across @ down) / (wide * high)
