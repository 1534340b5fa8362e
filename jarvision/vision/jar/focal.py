"""The lens and the table that card, jar and page agree on best: votes, each with its uncertainty.

A file may say nothing of its focal length, or what held before it was cropped. A longer lens
means that the camera stood farther away, and that shows: in the shape of the card, in how steeply
the camera looks down on the jar's foot, in how far the foot lies below the page, and in arm's
length. The foot itself is where the photo shows it, through whatever lens.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from jarvision.base.errors import PhotoRefusedError
from jarvision.records import CardFit, FloatArray, JarFit, Photo
from jarvision.settings.jar import JarSettings
from jarvision.vision.card.camera import refocus, strain_of
from jarvision.vision.card.layout import CardLayout
from jarvision.vision.jar.cylinder import front_y, stand_on
from jarvision.vision.jar.foot import Foot, find_foot
from jarvision.vision.jar.glass import GlassCylinder, Viewpoint
from jarvision.vision.jar.unroll import glass_of
from jarvision.vision.photo.read import FULL_FRAME_DIAGONAL_MM

NO_FOCAL = "the file has no focal length: it was worked out from the card and the jar"
OTHER_FOCAL = "the focal length in the file fits neither card nor jar: it was worked out from them"
OTHER_TABLE = "the page does not end on the jar's table: the jar's own foot was used"

_OTHER_END = 4.0
"""Misfit of the page's less likely end: two standard uncertainties."""

_HOPELESS = 16.0
"""Lenses that card and arm's length alone make so much worse than the best one are not tried."""

Standing = Callable[[CardFit, float], JarFit]
"""The jar before a card, on a table at a card-plane y."""


@dataclass(frozen=True)
class Sight:
    """What is known before the lens is: the photo, its card, and where the page may end.

    Attributes
    ----------
    page_ends
        Card-plane y of the page's lower edge, the likeliest first.
    standing
        Makes the jar of a card and an end of the page.
    trimmed_end
        Card-plane y where a trimmed page is seen to end; None where none is.
    """

    photo: Photo
    card: CardFit
    page_ends: tuple[float, float]
    standing: Standing
    layout: CardLayout
    settings: JarSettings
    trimmed_end: float | None = None


@dataclass(frozen=True)
class _Trial:
    """What card and jar are through one lens.

    Attributes
    ----------
    jar
        As the end of the page has it that fits the foot better.
    foot
        As the photo shows it.
    page_off_mm
        How far the foot lies from that end; 0 without a foot.
    misfit
        Sum of the squares of what is off, each in standard uncertainties.
    page_px, px_per_mm
        Row of the photo in which the page's likeliest end has the foot's front, scale there.
    """

    card: CardFit
    jar: JarFit
    foot: Foot | None
    page_off_mm: float
    misfit: float
    page_px: float
    px_per_mm: float


def settle(sight: Sight) -> tuple[CardFit, JarFit]:
    """The card and the jar through the lens that the file names, or through the one that fits.

    Raises
    ------
    PhotoRefusedError
        ``no_jar`` where what stands there has not the width of a jar, ``jar_cut`` where the
        photo ends above its floor.
    """
    if not sight.photo.focal_known:
        return _worked_out(_trials(sight) or [_try(sight, sight.card)], sight, note=NO_FOCAL)
    doubt = sight.settings.focal_doubt
    try:
        said = _try(sight, sight.card, sure=True)
    except PhotoRefusedError:  # no jar is so wide or so narrow: the lens may be another
        trials = _trials(sight)
        if not trials or min(trial.misfit for trial in trials) > doubt:
            raise
        return _worked_out(trials, sight, note=OTHER_FOCAL)
    if said.misfit > doubt:
        trials = _trials(sight)
        if trials and said.misfit > min(trial.misfit for trial in trials) + doubt:
            return _worked_out(trials, sight, note=OTHER_FOCAL)
    return said.card, _on_its_table(said, sight)


def _on_its_table(trial: _Trial, sight: Sight) -> JarFit:
    """The jar on the page's table, or on its own foot where the page contradicts it.

    A foot that does not bend as one does through this lens is seen less surely: then the two are
    held for the same table the longer, half way, and its height is as uncertain as they are apart.
    """
    settings, off = sight.settings, abs(trial.page_off_mm)
    if trial.foot is not None and off <= settings.page_off_max_mm:
        return trial.jar
    _check_cut(trial, sight)  # what seems to be the foot is none if the page has it below the photo
    if trial.foot is None:
        return replace(trial.jar, foot_sd_mm=settings.page_sd_mm)
    doubt = math.hypot(1.0, trial.foot.bent_mm / settings.foot_bend_sd_mm)
    if off <= settings.page_off_max_mm * doubt:
        between = trial.foot.table_y_mm - trial.page_off_mm / 2.0
        jar = _on_foot(trial, replace(trial.foot, table_y_mm=between), sight)
        return replace(jar, foot_sd_mm=off / 2.0)
    return _on_foot(trial, trial.foot, sight, note=OTHER_TABLE)


def _worked_out(trials: list[_Trial], sight: Sight, *, note: str) -> tuple[CardFit, JarFit]:
    """Card and jar through the lens in the middle of those that fit, each by its likelihood."""
    misfit = np.array([trial.misfit for trial in trials])
    weight = np.exp((misfit.min() - misfit) / 2)
    weight /= weight.sum()
    focal = np.array([trial.card.camera[0, 0] for trial in trials])
    middle = _try(sight, _lens(sight, float(np.exp(weight @ np.log(focal)))))
    radius_sd = _spread(np.array([trial.jar.radius_mm for trial in trials]), weight)
    if middle.foot is None:
        _check_cut(middle, sight)
        page_mm = np.array([trial.page_px for trial in trials]) / middle.px_per_mm
        foot_sd = float(np.hypot(_spread(page_mm, weight), sight.settings.page_sd_mm))
        jar = replace(middle.jar, foot_sd_mm=foot_sd, notes=(note,))
    else:
        if abs(middle.page_off_mm) > sight.settings.page_off_max_mm:
            _check_cut(middle, sight)
        jar = _on_foot(middle, middle.foot, sight, note=note)
    radius_sd = float(np.hypot(jar.radius_sd_mm, radius_sd))
    return middle.card, replace(jar, radius_sd_mm=radius_sd)


def _spread(values: FloatArray, weight: FloatArray) -> float:
    """Standard deviation of weighted values."""
    return float(np.sqrt(weight @ (values - weight @ values) ** 2))


def _check_cut(trial: _Trial, sight: Sight) -> None:
    """Refuse a jar whose floor lies below the photo's last row, if the page is whole."""
    below = trial.page_px - (sight.photo.rgb.shape[0] - 1)
    if below > sight.settings.floor_mm * trial.px_per_mm and not _on_trimmed_page(trial, sight):
        raise PhotoRefusedError(
            "jar_cut", f"the photo ends {below / trial.px_per_mm:.0f} mm above the jar's foot"
        )


def _on_trimmed_page(trial: _Trial, sight: Sight) -> bool:
    """Tell whether the foot that shows stands where a trimmed page is seen to end."""
    if trial.foot is None or sight.trimmed_end is None:
        return False
    floor_y_mm = sight.standing(trial.card, sight.trimmed_end).floor_y_mm
    off = trial.foot.table_y_mm - sight.settings.floor_mm - floor_y_mm
    return abs(off) <= sight.settings.page_off_max_mm


def _on_foot(trial: _Trial, foot: Foot, sight: Sight, *, note: str = "") -> JarFit:
    viewpoint, glass = _seen(trial.card, trial.jar)
    floor_mm = sight.settings.floor_mm
    jar = stand_on(
        trial.jar, glass, viewpoint=viewpoint, table_y=foot.table_y_mm, floor_mm=floor_mm
    )
    return replace(jar, notes=(note,) if note else ())


# --------------------------------------------------------------------------- lenses
def _lens(sight: Sight, focal_px: float) -> CardFit:
    return refocus(sight.card, sight.layout.corners_mm, focal_px)


def _trials(sight: Sight) -> list[_Trial]:
    """Lenses from wide to long, as far as card and arm's length allow them."""
    settings = sight.settings
    low, high = settings.focal_low_35mm, settings.focal_high_35mm
    count = max(2, 1 + round(math.log(high / low) / settings.focal_step))
    px = float(np.hypot(*sight.photo.rgb.shape[:2])) / FULL_FRAME_DIAGONAL_MM
    lenses = [_lens(sight, focal * px) for focal in np.geomspace(low, high, count)]
    misfit = [_card_misfit(lens, sight) for lens in lenses]
    trials = []
    for lens, off in zip(lenses, misfit, strict=True):
        if off <= min(misfit) + _HOPELESS:
            try:
                trials.append(_try(sight, lens))
            except PhotoRefusedError:  # too wide or too narrow for a jar, through this lens
                continue
    return trials


def _card_misfit(card: CardFit, sight: Sight) -> float:
    """How badly the card's own shape and the phone's distance fit a lens."""
    settings = sight.settings
    away = float(np.linalg.norm(card.camera_position_mm - [*sight.layout.centre_mm, 0.0]))
    arm = math.log(away / settings.distance_mm) / settings.distance_log_sd
    strain = np.array(strain_of(card)) / settings.card_strain_sd
    return arm**2 + float(strain @ strain)


def _try(sight: Sight, card: CardFit, *, sure: bool = False) -> _Trial:
    """See card and jar through a lens; ``sure``: the page may say where to look for the foot."""
    settings = sight.settings
    jars = [sight.standing(card, end) for end in sight.page_ends]
    viewpoint, glass = _seen(card, jars[0])
    start = jars[0].card_to_jar @ [sight.layout.centre_mm[0], settings.foot_from_mm, 0.0]
    foot = find_foot(
        sight.photo, glass, viewpoint, from_y_mm=front_y(glass, start), settings=settings,
        expected_y_mm=tuple(jar.floor_y_mm + settings.floor_mm for jar in jars[: int(sure)]),
    )  # fmt: skip
    misfit, off, jar = settings.no_foot_misfit, 0.0, jars[0]
    if foot is not None:
        offs = [foot.table_y_mm - settings.floor_mm - jar.floor_y_mm for jar in jars]
        costs = [(off / settings.page_sd_mm) ** 2 for off in offs]
        costs[1] += _OTHER_END
        better = int(np.argmin(costs))
        off, jar = offs[better], jars[better]
        most = settings.no_foot_misfit / 2
        # a page may hang high above the table, but not reach under it, trimmed to its last mark
        under = min(0.0, off + sight.page_ends[better] - sight.layout.height_mm)
        bend = foot.bent_mm / settings.foot_bend_sd_mm
        misfit = min(costs[better], most) + (under / settings.page_sd_mm) ** 2 + min(bend**2, most)
    table_y = jars[0].floor_y_mm + settings.floor_mm
    front = viewpoint.project(glass.outer_points(np.zeros(2), table_y + np.array([0.0, 1.0])))
    return _Trial(
        card=card,
        jar=jar,
        foot=foot,
        page_off_mm=off,
        misfit=misfit + _card_misfit(card, sight),
        page_px=float(front[0, 1]),
        px_per_mm=float(np.linalg.norm(front[1] - front[0])),
    )


def _seen(card: CardFit, jar: JarFit) -> tuple[Viewpoint, GlassCylinder]:
    viewpoint = Viewpoint.of_card(card, jar.card_to_jar)
    return viewpoint, glass_of(jar, viewpoint)
