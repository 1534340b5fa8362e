"""The wall of a jar laid flat, with the names of its patches at their places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from jarvision.records import HALF_VIEW_DEG, JarDay, Patch
from jarvision.report.pictures import STRIP_PX, Picture, inline
from jarvision.report.sides import are_many, in_turn, tell_view
from jarvision.vision.overlay.draw import STRIP_PX_PER_MM

TAG_GAP_PERCENT = 5  # between a patch on the wall and the middle of its name, of the height
TAGS_APART = (42.0, 9.0)  # percent of the picture's width and height, where one wall is shown
SMALL_TAGS_APART = (66.0, 15.0)  # where several walls stand side by side
SMALLEST_LABEL_CM2 = 0.5  # smaller areas are outlined on the wall, and told in the list only


@dataclass(frozen=True)
class Tag:
    """Words on the wall strip; places in percent of its width and height."""

    text: str
    kind: str
    left: float
    top: float


@dataclass(frozen=True)
class Strip:
    """The unrolled wall of one view; ``view`` is empty where a day has no other."""

    view: str
    picture: Picture
    tags: tuple[Tag, ...]


def strips_of(day: JarDay | None, side: int, out: Path, jar: str) -> tuple[Strip, ...]:
    """Show the walls of a day: the side that gave the reason first, then as the jar was turned."""
    if day is None:
        return ()
    found, many, shown = [], are_many(day), in_turn(day, side)
    apart = SMALL_TAGS_APART if len(shown) > 1 else TAGS_APART
    for reading in shown:
        view = tell_view(reading) if many else ""
        alt = f"The wall of {jar} laid flat{', ' + view if view else ''}; patches are outlined"
        picture = inline(out, reading.wall_picture, STRIP_PX, alt)
        if picture is not None:
            tags = _tags(reading.patches, out / reading.wall_picture, apart)
            found.append(Strip(view, picture, tags))
    return tuple(found)


def _tags(patches: Sequence[Patch], path: Path, apart: tuple[float, float]) -> tuple[Tag, ...]:
    """Name the patches on a wall strip at their places, the largest first, none over another."""
    from PIL import Image

    with Image.open(path) as image:
        height_mm = image.height / STRIP_PX_PER_MM
    tags: list[Tag] = []
    for patch in sorted(patches, key=lambda p: -p.area_cm2):
        seen = abs(patch.angle_deg) <= HALF_VIEW_DEG
        if patch.area_cm2 < SMALLEST_LABEL_CM2 or not seen:
            continue
        tag = _tag(patch, height_mm, apart)
        if all(abs(tag.left - t.left) > apart[0] or abs(tag.top - t.top) > apart[1] for t in tags):
            tags.append(tag)
    return tuple(tags)


def _tag(patch: Patch, height_mm: float, room: tuple[float, float]) -> Tag:
    heights = [height for _, height in patch.outline] or [patch.height_mm]
    below, above = (100 - 100 * h / height_mm for h in (min(heights), max(heights)))
    top = below + TAG_GAP_PERCENT if below < 100 - 2 * TAG_GAP_PERCENT else above - TAG_GAP_PERCENT
    left = 50 + 50 * patch.angle_deg / HALF_VIEW_DEG
    ends = ((left, room[0] / 2), (top, 6))
    kept = (min(max(value, low), 100 - low) for value, low in ends)
    return Tag(f"{patch.kind} {patch.area_cm2:.1f} cm²", patch.kind, *kept)
