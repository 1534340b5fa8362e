"""Fit the card's plane to the corners of its marks, leaving out marks that are cut or astray."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import BoolArray, FloatArray
from jarvision.vision.card.layout import CardLayout

# Marks that a fit needs: two would hold the card's far side too loosely.
MARKS_NEEDED = 3

# RMS distance between corners found and fitted, mm on the card. Flat cards stay well below the
# first; above it cut or strayed marks are looked for. The second still passes a curled card.
_MISFIT_USUAL_MM = 0.04
_MISFIT_MAX_MM = 0.5

# Corners are dropped only when the rest agree better by this factor: curl never gains so much.
_DROP_GAIN = 3.0

# Unknowns of a fit: eight of the homography, one inset.
_UNKNOWNS = 9

# Step and limit of the common inset of the marks' corners, mm: half a cell is 1.4 mm, and neither
# blur nor ink moves an edge as far in a photo whose marks can be read.
_INSET_STEP_MM, _INSET_MAX_MM = 0.1, 0.8


def card_to_photo(points_mm: FloatArray, homography: FloatArray) -> FloatArray:
    """Photo pixels ``(..., 2)`` of points ``(..., 2)`` on the card, mm."""
    lifted = np.concatenate([points_mm, np.ones((*points_mm.shape[:-1], 1))], axis=-1)
    image = lifted @ homography.T
    pixels: FloatArray = image[..., :2] / image[..., 2:]
    return pixels


def scale_at(homography: FloatArray, point_mm: tuple[float, float]) -> float:
    """Pixels per mm at a card point: square root of the homography's change of area there."""
    weight = homography[2] @ np.array([*point_mm, 1.0])
    # the Jacobian of a homography has the determinant det(H) / weight^3
    return float(np.sqrt(abs(np.linalg.det(homography) / weight**3)))


def side_px(corners: FloatArray) -> float:
    """Mean side of a quadrilateral ``(4, 2)``, px."""
    return float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).mean())


@dataclass(frozen=True)
class Corners:
    """Marks' corners: ``(n,)`` id of the mark, ``(n, 2)`` on the card in mm, in the photo in px.

    ``inwards`` is ``(n, 2)``: the direction on the card, by axis, towards the middle of the mark.
    """

    mark: NDArray[np.int64]
    card_mm: FloatArray
    inwards: FloatArray
    photo_px: FloatArray
    px_per_mm: float

    def only(self, keep: BoolArray) -> Corners:
        """The corners where ``keep`` ``(n,)`` is True."""
        return replace(
            self,
            mark=self.mark[keep],
            card_mm=self.card_mm[keep],
            inwards=self.inwards[keep],
            photo_px=self.photo_px[keep],
        )

    @property
    def marks(self) -> tuple[int, ...]:
        """Ids of the marks, in rising order."""
        return tuple(int(number) for number in np.unique(self.mark))


@dataclass(frozen=True)
class PlaneFit:
    """A homography, the corners it was fitted to, and their RMS distance from it."""

    corners: Corners
    homography: FloatArray
    rms_px: float

    @property
    def rms_mm(self) -> float:
        """The same on the card, mm."""
        return self.rms_px / self.corners.px_per_mm

    @property
    def sigma_px(self) -> float:
        """Standard error of one coordinate, px: fits to unequal numbers of corners compare."""
        corners = self.corners.mark.size
        return self.rms_px * float(np.sqrt(corners / (2 * corners - _UNKNOWNS)))


def gather(found: Mapping[int, FloatArray], layout: CardLayout) -> Corners:
    """The corners found, by id of their mark ``(4, 2)`` px, beside their places on the card."""
    seen = [marker for marker in layout.markers if marker.id in found]
    inwards = np.array([[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]])
    sides = [side_px(found[marker.id]) / marker.size_mm for marker in seen]
    return Corners(
        mark=np.repeat([marker.id for marker in seen], 4),
        card_mm=np.concatenate([marker.corners_mm for marker in seen]),
        inwards=np.tile(inwards, (len(seen), 1)),
        photo_px=np.concatenate([found[marker.id] for marker in seen]),
        px_per_mm=float(np.median(sides)),
    )


def fit_card(corners: Corners) -> PlaneFit:
    """Fit to all corners; where they disagree, without the mark or the sides that spoil it.

    Raises
    ------
    PhotoRefusedError
        ``no_card``: the corners lie otherwise than on this card.
    """
    everything = _fit_inset(corners)
    if everything.rms_mm <= _MISFIT_USUAL_MM:
        return everything
    best = everything
    keeps = np.array(list(_without_suspects(corners)))
    if keeps.size:
        trial = _fit_inset(corners.only(keeps[_misfits(everything, keeps).argmin()]))
        best = trial if trial.sigma_px * _DROP_GAIN < everything.sigma_px else everything
    if best.rms_mm > _MISFIT_MAX_MM:
        raise PhotoRefusedError("no_card", "the corner marks found do not lie as on this card")
    return best


def _without_suspects(corners: Corners) -> Iterator[BoolArray]:
    """What to keep ``(n,)``, for every mark or side of a mark, or two sides, that may be wrong.

    A mark may stand elsewhere (another print); a jar or a finger may cut a side of one or two.
    """
    sides = [
        (corners.mark == mark) & (corners.inwards[:, axis] == sign)
        for mark in corners.marks
        for axis in (0, 1)
        for sign in (-1.0, 1.0)
    ]
    pairs = (one | two for one, two in combinations(sides, 2) if not np.any(one & two))
    for suspect in (*sides, *pairs):  # two opposite sides are a whole mark
        if len(corners.only(~suspect).marks) >= MARKS_NEEDED:
            yield ~suspect


def _misfits(fit: PlaneFit, keeps: BoolArray) -> FloatArray:
    """Standard error that a fit to each choice of corners ``(m, n)`` would leave, ``(m,)`` px.

    To first order about ``fit``, so that a hundred choices take no longer than one fit: what is
    left of the misses when the fit's slopes are projected out.
    """
    slopes, misses = _linearised(fit)
    rows = np.repeat(keeps, 2, axis=1)
    basis, _ = np.linalg.qr(slopes * rows[..., None])
    kept = (misses * rows)[..., None]
    left = kept - basis @ (np.swapaxes(basis, 1, 2) @ kept)
    freedom = rows.sum(axis=1) - _UNKNOWNS
    misfits: FloatArray = np.sqrt((left[..., 0] ** 2).sum(axis=1) / freedom)
    return misfits


def _linearised(fit: PlaneFit) -> tuple[FloatArray, FloatArray]:
    """How the fitted px move with the fit, and by how much the corners miss them.

    Slopes ``(2 n, 9)`` by eight terms of the homography and the inset, each column of length one
    (only the space they span counts); misses ``(2 n,)`` px.
    """
    card_mm, inwards = fit.corners.card_mm, fit.corners.inwards
    pixels = card_to_photo(card_mm, fit.homography)
    lifted = np.column_stack([card_mm, np.ones(len(card_mm))])
    weight = lifted @ fit.homography[2]
    slopes = np.zeros((len(card_mm), 2, _UNKNOWNS))
    slopes[:, 0, 0:3] = slopes[:, 1, 3:6] = lifted
    slopes[:, :, 6:8] = -pixels[:, :, None] * card_mm[:, None, :]
    slopes /= weight[:, None, None]
    inset = card_to_photo(card_mm + _INSET_STEP_MM * inwards, fit.homography) - pixels
    slopes[:, :, 8] = inset / _INSET_STEP_MM
    flat = slopes.reshape(-1, _UNKNOWNS)
    return flat / np.linalg.norm(flat, axis=0), (fit.corners.photo_px - pixels).ravel()


def _fit_inset(corners: Corners) -> PlaneFit:
    """Fit with all marks shrunk or grown by one common amount, the one that fits best.

    Blur rounds a mark's corners inwards and spreading ink pushes them outwards, all alike. The
    squared misfit is a parabola in that amount, so three trials give its lowest point.
    """
    trials = [_fit_plane(corners, step * _INSET_STEP_MM) for step in (-1, 0, 1)]
    before, here, after = (fit.rms_px**2 for fit in trials)
    bend = before - 2.0 * here + after
    if not np.isfinite(bend) or bend <= 0.0:
        return trials[1]
    inset_mm = _INSET_STEP_MM * (before - after) / (2.0 * bend)
    return _fit_plane(corners, float(np.clip(inset_mm, -_INSET_MAX_MM, _INSET_MAX_MM)))


def _fit_plane(corners: Corners, inset_mm: float) -> PlaneFit:
    """Least-squares homography, the marks' corners taken ``inset_mm`` inwards on both axes."""
    import cv2

    moved = replace(corners, card_mm=corners.card_mm + inset_mm * corners.inwards)
    matrix, _ = cv2.findHomography(moved.card_mm, moved.photo_px, 0)
    if np.shape(matrix) != (3, 3):  # None for degenerate corners
        return PlaneFit(moved, np.eye(3), float("inf"))
    homography = np.asarray(matrix, dtype=np.float64)
    miss = card_to_photo(moved.card_mm, homography) - moved.photo_px
    return PlaneFit(moved, homography, float(np.sqrt((miss**2).sum(axis=1).mean())))
