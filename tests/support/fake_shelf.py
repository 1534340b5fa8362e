"""A made-up shelf for tests of what comes after the readings: no photo is measured here."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import cv2
import numpy as np

from jarvision.records import (
    Coverage,
    Finding,
    Flag,
    Growth,
    JarDay,
    JarEntry,
    JarFit,
    JarHistory,
    JarStory,
    Patch,
    Reading,
    ShelfResult,
    Tissue,
    TissueClass,
    TrackedPatch,
    Verdict,
    VerdictWord,
    Wall,
)
from jarvision.register.photo_names import picture_name
from jarvision.register.species import find_profile
from jarvision.vision.overlay.draw import Caption, draw_overlay, draw_wall_strip, save_picture

TODAY = date(2026, 3, 10)
FIRST = date(2026, 3, 3)
RADIUS_MM, FILL_MM, PX_PER_MM = 40.0, 105.0, 6.0


def fake_scene(
    share: float, *, seed: int = 1, spot: str = ""
) -> tuple[np.ndarray, JarFit, Wall, Tissue, tuple[Patch, ...]]:
    """Paint a jar as an upright cylinder seen from far away, with known covered share."""
    rng = np.random.default_rng(seed)
    angles = np.arange(-75, 75.01, 0.75)
    heights = np.arange(FILL_MM + 8, 0, -0.5)
    field = cv2.GaussianBlur(rng.normal(size=(len(heights), len(angles))), (0, 0), 9)
    covered = field < np.quantile(field, share)
    grain = cv2.GaussianBlur(rng.normal(size=field.shape), (0, 0), 2.2)
    grain = grain / grain.std() * 0.035
    linear = np.where(covered[..., None], (0.80, 0.78, 0.70), (0.28, 0.18, 0.08))
    linear = np.clip(linear + grain[..., None] * np.where(covered, 0.6, 1.5)[..., None], 0, 1)
    filled = np.broadcast_to((heights < FILL_MM)[:, None], field.shape)
    judged = filled.copy()
    judged[30:110, 55:62] = False
    linear[30:110, 55:62] = 0.95
    classes = np.where(covered, TissueClass.MYCELIUM, TissueClass.BARE).astype(np.uint8)
    angle_of, height_of = np.meshgrid(angles, heights)
    patches: list[Patch] = []
    if spot:
        there = np.hypot((angle_of - 22) * RADIUS_MM * math.pi / 180, height_of - 40) < 9
        linear[there] = {"green": (0.05, 0.13, 0.05), "pink": (0.6, 0.2, 0.2)}[spot]
        classes[there & judged] = TissueClass[spot.upper()]
        turn = np.linspace(0, 2 * math.pi, 25)[:-1]
        ring = tuple((22 + 12.9 * math.cos(t), 40 + 9 * math.sin(t)) for t in turn)
        patches.append(Patch(spot, 2.54, 22.0, 40.0, 0.93, ring))
    classes[~judged] = TissueClass.UNJUDGED
    classes[~filled] = TissueClass.OUTSIDE
    patches += bare_patches(classes, angles, heights)
    x = 450 + RADIUS_MM * PX_PER_MM * np.sin(np.deg2rad(angle_of))
    y = 1000 - PX_PER_MM * height_of + 14 * np.cos(np.deg2rad(angle_of))
    wall = Wall(
        linear=linear.astype(np.float32),
        angles_deg=angles,
        heights_mm=heights,
        radius_mm=RADIUS_MM,
        filled=filled,
        judged=judged,
        pixels=np.stack([x, y], axis=-1).astype(np.float32),
    )
    share = covered.astype(np.float32)
    tissue = Tissue(classes, share, share, np.ones_like(share), np.zeros_like(share))
    return paint(wall), fake_jar(), wall, tissue, tuple(patches)


def bare_patches(classes: np.ndarray, angles: np.ndarray, heights: np.ndarray) -> list[Patch]:
    mask = ((classes == TissueClass.BARE) & (np.abs(angles) <= 60)).astype(np.uint8)
    found = []
    for line in cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]:
        cell_cm2 = 0.5 * RADIUS_MM * math.radians(0.75) / 100
        area = float(cv2.contourArea(line)) * cell_cm2
        if area > 0.8:
            ring = tuple((float(angles[c]), float(heights[r])) for c, r in line[:, 0])
            middle = np.mean(ring, axis=0)
            found.append(Patch("bare", area, float(middle[0]), float(middle[1]), 0.9, ring))
    return found


def fake_jar() -> JarFit:
    turn = np.linspace(-math.pi / 2, math.pi / 2, 30)
    half = RADIUS_MM * PX_PER_MM * 1.05
    floor = np.stack([450 - half * np.sin(turn), 1002 + 18 * np.cos(turn)], axis=1)
    roof = np.array([[450 - half, 230], [450 - half + 40, 190], [450 + half - 40, 190]])
    outline = np.vstack([floor, roof, [[450 + half, 230]]]).astype(np.float32)
    return JarFit(
        card_to_jar=np.eye(3),
        axis_x_mm=95,
        axis_z_mm=-70,
        radius_mm=42,
        glass_mm=2,
        floor_y_mm=210,
        top_y_mm=90,
        radius_sd_mm=0.4,
        outline_px=outline,
    )


def paint(wall: Wall) -> np.ndarray:
    rgb = np.full((1200, 900, 3), (120, 140, 190), dtype=np.uint8)
    rgb[:, :110] = rgb[:, -110:] = (225, 225, 222)
    rgb[1040:] = (105, 92, 80)
    cv2.fillPoly(rgb, [fake_jar().outline_px.astype(np.int32)], (170, 182, 190))
    y, x = np.indices(rgb.shape[:2], dtype=np.float32)
    sine = np.clip((x - 450) / (RADIUS_MM * PX_PER_MM), -1, 1)
    height = (1000 + 14 * np.sqrt(1 - sine**2) - y) / PX_PER_MM
    row = (wall.heights_mm[0] - height) / 0.5
    col = (np.rad2deg(np.arcsin(sine)) - wall.angles_deg[0]) / 0.75
    encoded = np.clip(wall.linear, 0, 1) ** (1 / 2.2) * 255
    grid = (col.astype(np.float32), row.astype(np.float32))
    seen = cv2.remap(encoded, *grid, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    filled = cv2.remap(wall.filled.astype(np.uint8), *grid, cv2.INTER_NEAREST) > 0
    rgb[filled] = seen[filled].astype(np.uint8)
    return cv2.GaussianBlur(rgb, (0, 0), 1.5)


def cover(percent: float, *, half: float = 2.0) -> Coverage:
    low, high = max(0.0, percent - half), min(100.0, percent + half)
    return Coverage(percent, low, high, min(100.0, percent * 0.98), 94.0)


def fake_reading(jar: str, day: date, percent: float, patches: tuple[Patch, ...] = ()) -> Reading:
    return Reading(
        photo=f"{jar}_{day:%Y-%m-%d}.jpg",
        jar=jar,
        view="front",
        taken_at=datetime.combine(day, datetime.min.time()).replace(hour=8, minute=30),
        time_source="exif",
        status="ok",
        coverage=cover(percent),
        patches=patches,
        fill_height_mm=FILL_MM,
        colour_de00_median=1.4,
        card_values="nominal",
    )


def fake_refusal(photo: str, jar: str, reason: str, day: date = TODAY) -> Reading:
    taken_at = datetime.combine(day, datetime.min.time())
    return Reading(photo, jar, "front", taken_at, "name", "unusable", reason, "seen: 0 of 4 marks")


def logistic(day: float, middle: float, rate: float) -> float:
    return 100.0 / (1.0 + math.exp(-rate * (day - middle)))


def fake_growth(middle: float, rate: float, *, ready: float = 97.0, last: int = 7) -> Growth:
    days = tuple(i / 4 for i in range(4 * 14 + 1))
    curve = tuple(logistic(d, middle, rate) for d in days)
    spread = tuple(1.0 + 0.5 * max(0.0, d - last) for d in days)
    ready_in = middle + math.log(ready / (100 - ready)) / rate
    ready_date = FIRST + timedelta(days=math.ceil(ready_in))
    return Growth(
        model="logistic",
        origin=FIRST,
        day_numbers=days,
        curve_percent=curve,
        curve_low=tuple(max(0.0, c - s) for c, s in zip(curve, spread, strict=True)),
        curve_high=tuple(min(100.0, c + s) for c, s in zip(curve, spread, strict=True)),
        rate_percent_per_day=logistic(last, middle, rate) - logistic(last - 1, middle, rate),
        ready_date=ready_date,
        ready_low=ready_date - timedelta(days=1),
        ready_high=ready_date + timedelta(days=2),
    )


def fake_story(
    jar: str,
    verdict: VerdictWord,
    reasons: tuple[str | Finding, ...],
    *,
    middle: float = 4.0,
    rate: float = 0.9,
    flags: tuple[tuple[str, str], ...] = (),
    patch: TrackedPatch | None = None,
    species: str = "oyster",
    refused: tuple[Reading, ...] = (),
    growth: Growth | None = None,
) -> JarStory:
    """A jar over eight days; ``reasons`` in a sentence, or as the rules find them.

    A flag whose message is a reason's sentence is the one that this reason raises.
    """
    days = []
    for i in range(8):
        day = FIRST + timedelta(days=i)
        reading = fake_reading(jar, day, logistic(i, middle, rate))
        tracked = (patch,) if patch is not None and i >= 5 else ()
        assert reading.coverage is not None
        days.append(JarDay(jar, day, 1, reading.coverage, tracked, FILL_MM, (reading,)))
    entry = JarEntry(jar, species=species, substrate="rye grain", started=date(2026, 3, 1))
    fitted = growth or fake_growth(middle, rate)
    findings = {f.sentence: f for f in (as_finding(r, verdict) for r in reasons)}
    return JarStory(
        history=JarHistory(entry, tuple(days), refused),
        growth=fitted,
        verdict=Verdict(jar, species, verdict, tuple(findings.values()), days[-1].coverage, fitted),
        flags=tuple(
            Flag(jar, TODAY, word, findings.get(message) or as_finding(message))
            for word, message in flags
        ),
        profile=find_profile(species),
    )


def as_finding(reason: str | Finding, verdict: VerdictWord | None = None) -> Finding:
    if isinstance(reason, Finding):
        return reason
    return Finding.of("told", verdict, text=reason)


def fake_shelf(*extra: JarStory) -> ShelfResult:
    """Five jars over eight days with every verdict, two refused photos, and ``extra`` stories."""
    refused = fake_refusal("J03_2026-03-09.jpg", "J03", "blurred", date(2026, 3, 9))
    stray = fake_refusal("IMG_0042.jpg", "", "jar_mismatch")
    green = TrackedPatch("green-1", "green", 2.5, 22.0, 40.0, "growing")
    bare = TrackedPatch("bare-1", "bare", 6.2, -30.0, 18.0, "still")
    flat = Growth("logistic", stall=as_finding("0.2 points in three days at 71 %"))
    stories = (
        fake_story("J01", "go", ("covered 98.2 % since 2 days",), middle=2.5, rate=0.95),
        fake_story(
            "J02", "wait", ("covered 86 %: ready on 13 March (12 to 15 March)",), middle=5.1
        ),
        fake_story(
            "J03",
            "check",
            ("coverage has stood at 71 % for three days", "a bare area of 6.2 cm² stands still"),
            middle=6.0,
            flags=(("stall", "0.2 points in three days"),),
            patch=bare,
            refused=(refused,),
            growth=flat,
        ),
        fake_story(
            "J04",
            "no-go",
            ("green growth of 2.5 cm², growing",),
            middle=4.4,
            flags=(("off_colour", "green growth of 2.5 cm² at 22°, 40 mm up"),),
            patch=green,
        ),
        fake_story("J05", "wait", ("covered 60 %",), middle=6.5, rate=0.7, species="lion's mane"),
        *extra,
    )
    usable = tuple(r for s in stories for d in s.history.days for r in d.readings)
    return ShelfResult("shelf-a", TODAY, (*usable, refused, stray), stories, ("a warning",))


def with_pictures(shelf: ShelfResult, out: Path) -> ShelfResult:
    """Draw overlays and wall strips for all usable readings and name them in the records."""
    drawn: dict[str, Reading] = {}
    for reading in (r for r in shelf.readings if r.status == "ok"):
        assert reading.coverage is not None
        seed, spot = hash_of(reading.jar), ""
        if reading.jar == "J04" and reading.taken_at.date() > date(2026, 3, 7):
            spot = "green"
        share = reading.coverage.percent / 100
        rgb, jar, wall, tissue, patches = fake_scene(share, seed=seed, spot=spot)
        caption = Caption(reading.jar, reading.taken_at.date(), reading.coverage)
        picture = draw_overlay(
            rgb, jar=jar, wall=wall, tissue=tissue, patches=patches, caption=caption
        )
        overlay, strip = (f"{d}/{picture_name(reading.photo)}" for d in ("overlays", "walls"))
        save_picture(out / overlay, picture)
        save_picture(out / strip, draw_wall_strip(wall, tissue, patches))
        drawn[reading.photo] = replace(reading, overlay=overlay, wall_picture=strip)
    return replace_readings(shelf, drawn)


def hash_of(text: str) -> int:
    return sum(ord(c) for c in text)


def replace_readings(shelf: ShelfResult, drawn: dict[str, Reading]) -> ShelfResult:
    def day_with(day: JarDay) -> JarDay:
        return replace(day, readings=tuple(drawn.get(r.photo, r) for r in day.readings))

    stories = tuple(
        replace(s, history=replace(s.history, days=tuple(day_with(d) for d in s.history.days)))
        for s in shelf.stories
    )
    readings = tuple(drawn.get(r.photo, r) for r in shelf.readings)
    return replace(shelf, readings=readings, stories=stories)
