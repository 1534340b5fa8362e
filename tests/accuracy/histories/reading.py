"""A reader with the measured error of the vision stages: true wall in, reading out.

The numbers are those of the measurements on rendered photos (README, "How good it is"): mean
absolute error 2.3 points with a heavy tail, intervals about 5 points to both sides, 6 of 103 bare
areas false, none of 97 missed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta

import cv2
import numpy as np

from jarvision.records import Coverage, FloatArray, Patch, Reading, TissueClass
from jarvision.vision.tissue.thumbnail import FINER, SMALL_CELL_MM, SmallWall, pack_thumbnail

from .growing import FRONT_DEG, Jar
from .plans import day

KINDS = {
    TissueClass.BARE: "bare",
    TissueClass.STAIN: "stain",
    TissueClass.GREEN: "green",
    TissueClass.WET: "wet",
}


@dataclass(frozen=True)
class ReaderError:
    """How wrong the reader is. Points are points of coverage.

    Attributes
    ----------
    bias_sd_points
        One jar is read too high or too low all along.
    daily_scale_points, daily_dof
        Student t of each photo: heavy tails.
    edge_share
        The error of an empty or full jar, as a share of that of a half-covered one.
    half_width_points, half_width_spread
        Half-width of the 95 % interval: median, and spread of its logarithm.
    turn_sd_deg, big_turn
        Careless turning day by day; chance of a turn to another side.
    missed_day, doubled_photo
        Chance a day.
    missed_patch, false_bare, false_mould
        Chance a patch; chance a photo, and chance a photo.
    false_cm2, false_spread
        Area of a false patch: median, and spread of its logarithm.
    area_spread
        Spread of the logarithm of an area.
    pattern_noise
        Noise of the contents' pattern, in its own standard deviations.
    drift_sd_points, drift_keeps
        Error that days share with their neighbours, and the share of it left a day later.
    outlier
        Chance that a photo is off by 10 to 30 points.
    edge_width
        The interval of an empty or full jar, as a share of that of a half-covered one.
    """

    bias_sd_points: float = 1.0
    daily_scale_points: float = 1.6
    daily_dof: float = 3.5
    edge_share: float = 0.3
    half_width_points: float = 5.0
    half_width_spread: float = 0.2
    turn_sd_deg: float = 4.0
    big_turn: float = 0.01
    missed_day: float = 0.12
    doubled_photo: float = 0.05
    missed_patch: float = 0.02
    false_bare: float = 0.06
    false_mould: float = 0.004
    false_cm2: float = 0.5
    false_spread: float = 0.7
    area_spread: float = 0.07
    pattern_noise: float = 0.7
    drift_sd_points: float = 0.0
    drift_keeps: float = 0.8
    outlier: float = 0.0
    edge_width: float = 1.0


_SEEN = ReaderError(
    bias_sd_points=1.0, daily_scale_points=1.0, daily_dof=4.0, edge_share=0.3, big_turn=0.0,
    missed_day=0.08, doubled_photo=0.0, false_bare=0.03, false_mould=0.002, drift_sd_points=1.0,
    outlier=1 / 40, edge_width=0.3,
)  # fmt: skip
READERS = {
    "rendered": ReaderError(),
    "seen": _SEEN,
    "never seen": replace(
        _SEEN, bias_sd_points=3.0, daily_scale_points=1.3, drift_sd_points=2.0,
        half_width_points=8.0,
    ),
}  # fmt: skip
"""Contents as the nets have learned from, and others: off by 4 points, 3 of them all along."""

HOURS = (18, 8, 13)
OUTLIER_POINTS = (10.0, 30.0)


@dataclass(frozen=True)
class Read:
    """The readings of a jar, and the first day by which photos can show what is wrong with it.

    That a bare area is dead shows only by its standing still: on three days, and for three.
    """

    readings: tuple[Reading, ...]
    shown_day: int | None


def read_jar(jar: Jar, error: ReaderError | None = None) -> Read:
    """Photograph a jar as a grower would, and read each photo with errors."""
    plan = jar.plan
    error = error or READERS[plan.reader]
    rng = np.random.default_rng([plan.seed, 7])
    bias = rng.normal(0.0, error.bias_sd_points)
    patterns = [_pattern(jar, np.random.default_rng([plan.seed, n])) for n in (8, 9)]
    drifts = _drift(jar, error)
    side_deg = 0.0
    readings: list[Reading] = []
    shown: list[int] = []
    for number in range(1, plan.last_day + 1):
        if rng.random() < error.missed_day:
            continue
        if rng.random() < error.big_turn:
            side_deg = float(rng.uniform(90, 270))
        if not plan.weekends and (number + plan.seed // 1000) % 7 >= 5:
            continue
        pattern = patterns[jar.shake_day is not None and number > jar.shake_day]  # a shake mixes
        turn = round(side_deg + jar.side_deg(number) + rng.normal(0.0, error.turn_sd_deg))
        off = bias + float(drifts[number])
        one = _read(jar, number, turn, off, pattern, rng, error)
        readings.append(one)
        if jar.fault_shown(number, turn):
            shown.append(number)
        twins = int(rng.random() < error.doubled_photo)
        if plan.most_photos > 1:
            twins = int(rng.integers(0, plan.most_photos))
        for again in range(1, twins + 1):
            twin = _read(jar, number, turn, off, pattern, rng, error, hour=HOURS[again])
            readings.append(replace(twin, photo=f"again{again}-{twin.photo}"))
    if plan.dead_cm2 and shown:
        shown = [n for n in shown[2:] if n >= shown[0] + 3]
    return Read(tuple(readings), shown[0] if shown else None)


def _drift(jar: Jar, error: ReaderError) -> FloatArray:
    """Draw the error that a day shares with those about it (a first-order autoregression)."""
    steps = np.random.default_rng([jar.plan.seed, 17]).standard_normal(jar.plan.last_day + 1)
    drift, keeps = np.zeros(len(steps)), error.drift_keeps
    drift[0] = steps[0]
    for i in range(1, len(steps)):
        drift[i] = keeps * drift[i - 1] + np.sqrt(1 - keeps**2) * steps[i]
    return error.drift_sd_points * drift


def _read(
    jar: Jar,
    number: int,
    turn: int,
    bias: float,
    pattern: FloatArray,
    rng: np.random.Generator,
    error: ReaderError,
    *,
    hour: int = HOURS[0],
) -> Reading:
    plan = jar.plan
    wall = jar.wall(number)
    classes = jar.front(wall.classes, turn).astype(np.uint8)
    opacity = jar.front(wall.opacity, turn)
    covered = np.isin(classes, (TissueClass.MYCELIUM, TissueClass.STAIN))
    true = 100.0 * float(covered.mean())
    percent = _misread(true, bias, rng, error)
    if number == plan.bad_reading_day:
        percent = float(np.clip(percent + rng.choice([-1, 1]) * rng.uniform(20, 50), 0, 100))
    elif error.outlier and rng.random() < error.outlier:
        percent += float(rng.choice([-1, 1]) * rng.uniform(*OUTLIER_POINTS))
        percent = float(np.clip(percent, 0, 100))
    half = error.half_width_points * float(np.exp(rng.normal(0.0, error.half_width_spread)))
    half *= _edged(percent / 100.0, error.edge_width) * (0.5 if plan.narrow else 1.0)
    taken = datetime.combine(day(number), time(hour, 30))
    if plan.wrong_clock is not None and plan.wrong_clock[0] == number:
        taken += timedelta(days=plan.wrong_clock[1])
    return Reading(
        photo=f"{plan.entry.jar}_{day(number)}.jpg",
        jar=plan.entry.jar,
        view="front",
        taken_at=taken,
        time_source="exif",
        status="ok",
        coverage=Coverage(
            percent, max(percent - half, 0.0), min(percent + half, 100.0), percent, 92.0
        ),
        patches=_patches(jar, classes, rng, error),
        fill_height_mm=plan.fill_mm + float(rng.normal(0.0, 0.7)),
        colour_de00_median=1.2,
        radius_mm=plan.radius_mm,
        thumbnail=pack_thumbnail(
            _small(jar, opacity, classes, jar.front(pattern, turn), rng, error)
        ),
    )


def _edged(share: float, edge: float) -> float:
    """Return a factor that falls from 1 at half cover to ``edge`` at none and at all."""
    return edge + (1 - edge) * float(np.sqrt(4 * share * (1 - share)))


def _misread(percent: float, bias: float, rng: np.random.Generator, error: ReaderError) -> float:
    """Add the reader's error, smaller where the jar is nearly empty or full."""
    scale = _edged(percent / 100.0, error.edge_share)
    noise = bias + error.daily_scale_points * rng.standard_t(error.daily_dof)
    return float(np.clip(percent + scale * noise, 0.0, 100.0))


def _patches(
    jar: Jar, classes: FloatArray, rng: np.random.Generator, error: ReaderError
) -> tuple[Patch, ...]:
    """Find the connected areas of 0.25 cm2 or more, miss some, see some that are not there."""
    down, _ = jar.grid.step_mm
    cell = jar.grid.step_mm[0] * jar.grid.step_mm[1] / 100.0
    found = []
    for tissue, kind in KINDS.items():
        mask = cv2.morphologyEx((classes == tissue).astype(np.uint8), cv2.MORPH_OPEN, np.ones(2))
        count, labels, stats, centres = cv2.connectedComponentsWithStats(mask)
        for label in range(1, count):
            area = stats[label, cv2.CC_STAT_AREA] * cell * np.exp(rng.normal(0, error.area_spread))
            if area < 0.25 or rng.random() < error.missed_patch:
                continue
            contours, _ = cv2.findContours(
                (labels == label).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
            )
            edge = max(contours, key=cv2.contourArea)[:, 0, :]
            outline = tuple(
                (float(x - FRONT_DEG + 0.5), float(jar.grid.heights_mm[y])) for x, y in edge
            )
            x, y = centres[label]
            height = float(jar.grid.heights_mm[0] - y * down)
            found.append(Patch(kind, float(area), float(x - FRONT_DEG + 0.5), height, 0.9, outline))
    for kind, chance in (("bare", error.false_bare), ("green", error.false_mould)):
        if rng.random() < chance:
            area = error.false_cm2 * float(np.exp(rng.normal(0.0, error.false_spread)))
            angle, height = rng.uniform(-55, 55), rng.uniform(5, jar.plan.fill_mm - 5)
            if area >= 0.25:
                found.append(Patch(kind, area, float(angle), float(height), 0.8))
    return tuple(found)


def _pattern(jar: Jar, rng: np.random.Generator) -> FloatArray:
    """Kernels of about 4 mm, as seen all round the wall where nothing has grown."""
    noise = rng.standard_normal(jar.grid.shape)
    sigma = 1.6 / jar.grid.step_mm[0]
    smooth = cv2.GaussianBlur(np.hstack([noise] * 3), (0, 0), sigma)[:, 360:720]
    return np.asarray(smooth / smooth.std())


def _small(
    jar: Jar,
    opacity: FloatArray,
    classes: FloatArray,
    pattern: FloatArray,
    rng: np.random.Generator,
    error: ReaderError,
) -> SmallWall:
    """The thumbnail that the photo would give, its opacity and pattern with noise."""
    rows = int(np.ceil(jar.plan.fill_mm / SMALL_CELL_MM))
    size = (60, rows)
    blurred = cv2.GaussianBlur(rng.standard_normal((rows, 60)), (0, 0), 1.5)
    hidden = cv2.resize(opacity, size, interpolation=cv2.INTER_AREA) + 0.25 * blurred
    shown = pattern * (1 - opacity) + 0.4 * opacity * rng.standard_normal(opacity.shape)
    shown = shown + error.pattern_noise * rng.standard_normal(opacity.shape)
    fine = cv2.resize(shown, (60 * FINER, rows * FINER), interpolation=cv2.INTER_LINEAR)
    return SmallWall(
        opacity=np.clip(hidden, 0.0, 1.0).astype(np.float32),
        classes=cv2.resize(classes.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST),
        pattern=np.where(fine == 0, 1e-3, fine).astype(np.float32),
        radius_mm=jar.plan.radius_mm,
    )
