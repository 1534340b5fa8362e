"""Light, glass and camera before a composed wall, and what is seen where no contents stand."""

from __future__ import annotations

from dataclasses import dataclass, replace

import torch
from torch import Tensor
from torch.nn import functional

from jarvision.records import HALF_VIEW_DEG, TissueClass
from jarvision.vision.jar.unroll import CELL_MM

from .draws import WINDOW, Dice, bands, blur, lab_colour, mix, step_at
from .grown_walls import IGNORED, Grown

OUTSIDE, UNJUDGED = float(TissueClass.OUTSIDE), float(TissueClass.UNJUDGED)
FOGGED = 0.2  # veil from which a place counts as fogged, as in the rendered truth


@dataclass(frozen=True)
class Frame:
    """Where the window lies on the jar.

    Attributes
    ----------
    floor_row
        Row of the lowest contents, beyond the window for some, ``(n, 1, 1, 1)``.
    fill_row
        Row above which the glass is empty, ``(n, 1, 1, cols)``.
    sine
        Of the wall angle, ``(n, 1, 1, cols)``.
    inside
        1 on the unrolled wall, 0 where it is filled up, ``(n, 1, rows, cols)``.
    filled
        1 between floor and fill line, ``(n, 1, rows, cols)``.
    """

    floor_row: Tensor
    fill_row: Tensor
    sine: Tensor
    inside: Tensor
    filled: Tensor

    @property
    def height_mm(self) -> Tensor:
        """Over the floor, ``(n, 1, rows, 1)``."""
        rows = torch.arange(WINDOW[0], device=self.sine.device, dtype=torch.float32)[:, None]
        return (self.floor_row - rows) * CELL_MM

    @classmethod
    def draw(cls, dice: Dice) -> Frame:
        """A window on a jar of any size, filled to any height."""
        rows = torch.arange(WINDOW[0], device=dice.device, dtype=torch.float32)[:, None]
        cols = torch.arange(WINDOW[1], device=dice.device, dtype=torch.float32)
        floor = dice.uniform(290.0, 500.0)
        wide = dice.uniform(280.0, 372.0)  # columns of the whole wall
        aside = (wide - WINDOW[1]).abs() / 2.0 * dice.uniform(-1.0, 1.0)
        turn = (cols + 0.5 - WINDOW[1] / 2.0 + aside) / wide * (2.0 * HALF_VIEW_DEG)
        below = dice.uniform(4.0, 36.0)
        inside = (turn.abs() <= HALF_VIEW_DEG) & (rows < floor + below)
        tall = floor - dice.uniform(-60.0, 210.0)
        tall = torch.maximum(tall, floor * 0.3)
        wave = dice.uniform(0.0, 6.0) * dice.cloud(6)[:, :, :1] + dice.uniform(-14.0, 14.0) * (
            cols / WINDOW[1] - 0.5
        )
        fill_row = floor - tall + wave + dice.uniform(0.0, 2.0) * dice.cloud(50)[:, :, :1]
        floor_row = floor + dice.uniform(-2.0, 2.0)
        filled = ((rows >= fill_row) & (rows < floor)).float() * inside
        sine = torch.sin(torch.deg2rad(turn.clamp(-HALF_VIEW_DEG, HALF_VIEW_DEG)))
        return cls(floor_row, fill_row, sine, inside.float(), filled)


@dataclass(frozen=True)
class Seen:
    """A wall as a camera sees it: linear light, labels as in :class:`.grown_walls.Grown`."""

    linear: Tensor
    seen: Tensor
    beneath: Tensor
    burnt: Tensor


def lit(albedo: Tensor, relief_mm: Tensor, gloss: Tensor, sine: Tensor, dice: Dice) -> Tensor:
    """Linear light from a wall under a lamp from any side and the room's own light."""
    relief = blur(relief_mm, 1) * dice.uniform(0.3, 1.3)
    across = functional.pad(relief[..., 2:] - relief[..., :-2], (1, 1, 0, 0)) / (2 * CELL_MM)
    down = functional.pad(relief[..., 2:, :] - relief[..., :-2, :], (0, 0, 1, 1)) / (2 * CELL_MM)
    size = torch.sqrt(1.0 + across**2 + down**2)
    side, up = dice.uniform(-0.9, 0.9), dice.uniform(-0.35, 0.9)
    toward = torch.sqrt((1.0 - 0.6 * (side**2 + up**2)).clamp(min=0.15))
    facing = ((down * up - across * side + toward) / size).clamp(min=0.0)
    ambient = dice.uniform(0.25, 0.75)
    light = ambient + (1.0 - ambient) * facing / toward
    depth = (blur(relief, 7) - relief).clamp(min=0.0)
    light = light * torch.exp(-dice.uniform(0.05, 0.6) * depth)
    # Round the jar: darker to one side, and to both as the glass turns away.
    light = light * torch.exp(dice.uniform(-0.35, 0.35) * sine - dice.uniform(-0.15, 0.7) * sine**2)
    rows = torch.linspace(-0.5, 0.5, albedo.shape[2], device=dice.device)[:, None]
    light = light * torch.exp(0.22 * dice.normal() * rows + 0.22 * dice.normal())
    tint = bands(dice.device, 0.05, 0.0, 0.08) * dice.normal(3, 1, 1)
    tint = tint + bands(dice.device, 0.05, 0, 0.06) * dice.normal(3, 1, 1) * sine
    tint = torch.exp(dice.oddness * tint)
    shine = gloss * facing.clamp(0.0, 1.0) ** 24 * dice.uniform(0.0, 0.45)
    return albedo * light * tint + shine


def behind_glass(wall: Grown, frame: Frame, dice: Dice) -> Seen:
    """The whole window: contents, empty glass above, floor below, and all that hides them."""
    linear = lit(wall.albedo, wall.relief_mm, wall.gloss, frame.sine, dice)
    rows = torch.arange(WINDOW[0], device=dice.device, dtype=torch.float32)[:, None]
    rim = torch.exp(-((rows - frame.fill_row).clamp(min=0.0)) / 6.0)
    linear = linear * (1.0 - dice.chance(0.5) * dice.uniform(0.0, 0.5) * rim)
    above = (rows < frame.fill_row).float()
    top, there = _top(linear, frame, dice)
    linear = mix(linear, mix(_headspace(frame, dice), top, there), above)
    linear = mix(linear, _floor(dice), (rows >= frame.floor_row).float())
    unseen = torch.full_like(wall.seen, OUTSIDE)
    empty = torch.where((there > 0.5) & (above > 0), torch.full_like(unseen, IGNORED), unseen)
    view = Seen(
        linear,
        torch.where(frame.filled > 0, wall.seen, empty),
        torch.where(frame.filled > 0, wall.beneath, unseen),
        torch.zeros_like(above),
    )
    view = _tagged(_stuck(view, frame, dice), frame, dice)
    view = _mirrored(_veiled(view, frame, dice), dice)
    view = _photographed(view, dice)
    ignored = torch.full_like(view.seen, IGNORED)
    return replace(
        view,
        seen=torch.where(frame.inside > 0, view.seen, ignored),
        beneath=torch.where(frame.inside > 0, view.beneath, ignored),
    )


def _top(linear: Tensor, frame: Frame, dice: Dice) -> tuple[Tensor, Tensor]:
    """The heap's top behind the empty glass, as a camera sees it from above; and where it shows.

    It looks as the contents below the line do, pressed together and in other light.
    """
    rows = torch.arange(WINDOW[0], device=dice.device, dtype=torch.float32)[:, None]
    over = frame.fill_row - rows
    deep = dice.chance(0.6) * dice.uniform(0.0, 46.0) * (1.0 - 0.75 * frame.sine**2)
    deep = deep * (1.0 + 0.1 * dice.cloud(20)[:, :, :1])
    at = (frame.fill_row + dice.uniform(1.5, 5.0) * over).clamp(0.0, WINDOW[0] - 1.0).long()
    top = linear.gather(2, at.expand(-1, 3, -1, -1)) * dice.uniform(0.25, 1.15)
    return top, step_at(deep - over, 0.7)


def _headspace(frame: Frame, dice: Dice) -> Tensor:
    """The card's blue-violet field and the grey beside it, through empty glass with its streaks."""
    field = bands(dice.device, 0.115, 0.115, 0.32) * torch.exp(
        0.28 * dice.normal() + 0.1 * dice.normal(3, 1, 1)
    )
    grey = lab_colour(dice.uniform(25, 90), dice.uniform(0, 8), dice.uniform(0, 360))
    beside = step_at(frame.sine.abs() - dice.uniform(0.55, 1.25), 0.01)
    down = torch.linspace(-0.5, 0.5, WINDOW[0], device=dice.device)[:, None]
    light = torch.exp(0.25 * dice.normal() * down + 0.15 * dice.normal() * frame.sine)
    colour = mix(field, grey, beside) * light * torch.exp(0.06 * dice.fractal(3, 3))
    band = step_at(dice.uniform(0.0, 1.0) - (down + 0.5), 0.01) * dice.chance(0.2)
    colour = mix(colour, grey * 0.8, band)  # a lid, a shoulder, paper above the field
    streaks = dice.cloud(40)[:, :, :1].clamp(min=1.2) - 1.2
    colour = colour + dice.chance(0.6) * dice.uniform(0.0, 0.3) * streaks
    drops = step_at(dice.cloud(64) - dice.uniform(1.4, 3.0), 0.1) * dice.chance(0.4)
    colour = colour * torch.exp(dice.uniform(-0.8, 0.7) * drops)
    fog = (
        dice.chance(0.25) * dice.uniform(0.1, 0.9) * (1.0 + 0.15 * dice.fractal(12, 4)).clamp(0, 1)
    )
    return mix(colour, dice.uniform(0.2, 0.75).expand_as(colour), fog.clamp(0.0, 0.95))


def _floor(dice: Dice) -> Tensor:
    """The jar's glass bottom and the table: bands of any colour."""
    one, two = (
        lab_colour(dice.uniform(12, 92), dice.uniform(0, 30), dice.uniform(40, 100)) for _ in "12"
    )
    return mix(one, two, step_at(dice.cloud(70)[:, :, :, :1], 0.3)) * torch.exp(0.1 * dice.cloud(5))


def _stuck(view: Seen, frame: Frame, dice: Dice) -> Seen:
    """A label or tape on the glass, with print on it: any colour, kraft and masking tape too."""
    rows = torch.arange(WINDOW[0], device=dice.device, dtype=torch.float32)[:, None]
    cols = torch.arange(WINDOW[1], device=dice.device, dtype=torch.float32)
    lean = 0.06 * dice.normal()
    down = rows - dice.uniform(0.0, float(WINDOW[0])) + lean * cols
    along = cols - dice.uniform(0.0, float(WINDOW[1])) - lean * rows
    high, wide = dice.logarithmic(12.0, 90.0), dice.logarithmic(25.0, 200.0)
    wide = mix(wide, torch.full_like(wide, 4.0 * WINDOW[1]), dice.chance(0.3))  # all round
    shape = torch.maximum(down.abs() / high, along.abs() / wide)
    here = step_at(1.0 - shape, 0.01) * dice.chance(0.16)
    paper = lab_colour(dice.uniform(20, 96), dice.uniform(0, 35), dice.uniform(50, 100))
    print_ = step_at(torch.sin(down * dice.uniform(0.2, 1.2)) + 0.8 * dice.cloud(80) - 1.0, 0.1)
    print_ = print_ * dice.chance(0.6)
    shown = mix(paper, 0.1 * paper, print_) * torch.exp(0.05 * dice.fractal(6, 5))
    linear = mix(view.linear, shown * torch.exp(0.2 * dice.normal()), here)
    return _hidden(replace(view, linear=linear), here > 0.5, frame)


def _tagged(view: Seen, frame: Frame, dice: Dice) -> Seen:
    """A square of paper with a code of black and white squares, above the contents as a rule."""
    rows = torch.arange(WINDOW[0], device=dice.device, dtype=torch.float32)[:, None]
    cols = torch.arange(WINDOW[1], device=dice.device, dtype=torch.float32)
    half = dice.uniform(26.0, 48.0)
    middle = frame.fill_row.mean(dim=3, keepdim=True) - half * dice.uniform(0.6, 3.0)
    lean = 0.05 * dice.normal()
    along, down = cols - dice.uniform(0.2, 0.8) * WINDOW[1], rows - middle
    along, down = (along + lean * down) / half, (down - lean * along) / half
    code = (torch.rand(dice.count, 1, 6, 6, device=dice.device) < 0.5).float()
    code = functional.pad(functional.pad(code, (1,) * 4, value=0.0), (1,) * 4, value=1.0)
    grid = torch.stack(torch.broadcast_tensors(along[:, 0], down[:, 0]), dim=-1)
    shown = functional.grid_sample(code, grid, mode="nearest", align_corners=False)
    shown = (0.06 + 0.7 * shown) * torch.exp(0.25 * dice.normal())
    here = (torch.maximum(along.abs(), down.abs()) < 1.0).float() * dice.chance(0.2)
    return _hidden(replace(view, linear=mix(view.linear, shown, here)), here > 0.5, frame)


def _hidden(view: Seen, what: Tensor, frame: Frame) -> Seen:
    """Contents that can no longer be told."""
    hidden = what & (frame.filled > 0)
    return replace(view, seen=torch.where(hidden, torch.full_like(view.seen, UNJUDGED), view.seen))


def _veiled(view: Seen, frame: Frame, dice: Dice) -> Seen:
    """Fog inside the glass, from above, from below or in patches, and drops that run down it."""
    rows = torch.linspace(0.0, 1.0, WINDOW[0], device=dice.device)[:, None]
    away = mix(rows, 1.0 - rows, dice.chance(0.35))  # a cold shelf fogs the foot
    edge = dice.uniform(0.1, 1.0) + 0.06 * dice.fractal(6, 3) - away
    edge = mix(edge, dice.fractal(3, 3) - dice.uniform(0.0, 1.5), dice.chance(0.3))
    veil = dice.chance(0.14) * dice.uniform(0.05, 0.85) * (edge / 0.15).clamp(0.0, 1.0)
    veil = (veil * (0.85 + 0.1 * dice.cloud(24))).clamp(0.0, 0.95)
    tracks = 1.0 - 0.8 * step_at(dice.cloud(36)[:, :, :1] - dice.uniform(1.0, 3.0), 0.2)
    veil = veil * mix(torch.ones_like(tracks), tracks, dice.chance(0.5))
    grey = dice.uniform(0.2, 0.8) * torch.exp(bands(dice.device, 0.04, 0.0, 0.05)
                                              * dice.normal(3, 1, 1))  # fmt: skip
    soft = mix(view.linear, blur(view.linear, 3), (2.0 * veil).clamp(max=1.0))
    view = _hidden(replace(view, linear=mix(soft, grey, veil)), veil > FOGGED, frame)
    drops = dice.cloud(70) - dice.uniform(1.6, 3.2)
    here = step_at(drops, 0.08) * dice.chance(0.15)
    shade = torch.exp(dice.uniform(-0.7, 0.5) * here * (0.5 + 0.5 * dice.cloud(70).clamp(-1, 1)))
    return replace(view, linear=view.linear * shade)


def _mirrored(view: Seen, dice: Dice) -> Seen:
    """Lamps and windows mirrored in the glass: upright streaks as a rule, boxes, a faint room."""
    cols = torch.linspace(0.0, 1.0, WINDOW[1], device=dice.device)
    rows = torch.linspace(0.0, 1.0, WINDOW[0], device=dice.device)[:, None]
    light = 0.02 * dice.chance(0.5) * dice.uniform() * (1.0 + dice.fractal(3, 3)).clamp(min=0.0)
    for share in (0.3, 0.12):
        sharp = dice.logarithmic(0.003, 0.08)
        wide = dice.logarithmic(0.006, 0.1)
        streak = step_at(wide - (cols - dice.uniform() + 0.03 * (rows - 0.5)).abs(), sharp)
        tall = step_at(dice.logarithmic(0.05, 1.2) - (rows - dice.uniform()).abs(), sharp)
        light = light + dice.chance(share) * dice.logarithmic(0.02, 1.4) * streak * tall
    tint = torch.exp(bands(dice.device, 0.06, 0.0, 0.1) * dice.normal(3, 1, 1))
    linear = view.linear + light * tint
    told = view.seen
    lost = (light > 0.6) & (told > UNJUDGED) & (told != IGNORED)
    return replace(view, linear=linear,
                   seen=torch.where(lost, torch.full_like(told, IGNORED), told))  # fmt: skip


def _photographed(view: Seen, dice: Dice) -> Seen:
    """Blur, noise, sharpening, thinned-out colour and burnt-out places."""
    linear = seen_by_camera(view.linear, dice)
    top = dice.uniform(0.95, 1.7)
    burnt = (linear.amin(dim=1, keepdim=True) > top).float()
    return replace(view, linear=torch.minimum(linear, top * 1.05), burnt=burnt)


def seen_by_camera(linear: Tensor, dice: Dice) -> Tensor:
    """Linear light after lens, sensor, sharpening and a JPEG's coarse colour."""
    soft, softer = (_small_blur(linear, side) for side in (3, 5))
    lost = dice.uniform(0.0, 2.0)
    linear = mix(mix(linear, soft, lost.clamp(max=1.0)), softer, (lost - 1.0).clamp(min=0.0))
    sharpened = linear + dice.chance(0.5) * dice.uniform(0.0, 0.9) * (linear - blur(linear, 1))
    linear = sharpened.clamp(min=0.0)
    noise = dice.logarithmic(0.001, 0.03)
    shape = (dice.count, 3, *linear.shape[2:])
    coarse = _small_blur(torch.randn(shape, device=dice.device), 3) * 2.0
    grain = mix(torch.randn(shape, device=dice.device), coarse, dice.uniform(0.2, 1.0))
    linear = (linear + noise * torch.sqrt(linear + 0.02) * grain).clamp(min=0.0)
    grey = linear.mean(dim=1, keepdim=True).clamp(min=1e-4)
    ratio = linear / grey
    return grey * mix(ratio, _small_blur(ratio, 5), dice.uniform(0.0, 1.0))


def _small_blur(field: Tensor, side: int) -> Tensor:
    padded = functional.pad(field, (side // 2,) * 4, mode="replicate")
    return functional.avg_pool2d(padded, side, 1)
