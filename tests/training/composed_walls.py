"""Batches of composed walls with truth, ever new: contents, growth, glass, camera, own bare look.

Nothing is kept: every call lays other growth over other windows of the layers in the bank, under
other light. The whole runs on a graphics card.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor

from jarvision.vision.tissue.inputs import MIDDLE, SPREAD
from jarvision.vision.tissue.reference import COLOURS

from .draws import TAME, WINDOW, Dice, bands, constant, lab_colour
from .glass_walls import Frame, behind_glass, lit, seen_by_camera
from .grown_walls import Recolour, bare, grown

LIGHT_FLOOR = 0.004
HEIGHT_MM = 100.0
REFERENCE_WINDOW = (112, 112)
SAMPLES = 1024  # places that a reference is taken from
KNOWN = 0.5  # share of walls whose jar's bare look is known
_ROUNDS = 4
_STRONGEST = 3.0


@dataclass(frozen=True)
class Batch:
    """Walls as a network learns from them.

    Attributes
    ----------
    x
        Inputs ``(n, 13, rows, cols)``.
    seen, beneath
        Classes ``(n, rows, cols)``, long.
    opacity, pins
        ``(n, rows, cols)``.
    holds
        Bits of the families of contents on each wall, ``(n,)``.
    """

    x: Tensor
    seen: Tensor
    beneath: Tensor
    opacity: Tensor
    pins: Tensor
    holds: Tensor

    def pick(self, index: Tensor | slice) -> Batch:
        """Some of the walls."""
        return Batch(*(part[index] for part in self.parts()))

    def parts(self) -> tuple[Tensor, ...]:
        """All tensors."""
        return self.x, self.seen, self.beneath, self.opacity, self.pins, self.holds

    @staticmethod
    def joined(batches: list[Batch]) -> Batch:
        """Several batches as one."""
        return Batch(*(torch.cat(part) for part in zip(*(b.parts() for b in batches), strict=True)))


@dataclass
class Shelf:
    """Layers of one source on the card, filled as they are made.

    ``maps`` is ``(room, bands, rows, cols)`` of bytes, ``holds`` ``(room,)``; the first ``count``
    (a tensor) are there.
    """

    maps: Tensor
    holds: Tensor
    count: Tensor

    @classmethod
    def empty(cls, room: int, shape: tuple[int, int, int], device: torch.device) -> Shelf:
        """Room for so many layers."""
        return cls(
            torch.zeros((room, *shape), dtype=torch.uint8, device=device),
            torch.zeros(room, dtype=torch.long, device=device),
            torch.zeros((), dtype=torch.long, device=device),
        )

    def add(self, maps: Tensor, holds: Tensor) -> int:
        """Put layers on the shelf while there is room; how many there are now."""
        have = int(self.count)
        new = min(len(maps), len(self.maps) - have)
        self.maps[have : have + new] = maps[:new].to(self.maps.device)
        self.holds[have : have + new] = holds[:new].to(self.holds.device)
        self.count.add_(new)
        return have + new

    def draw(self, count: int) -> tuple[Tensor, Tensor]:
        """Random layers as floats 0 to 255, and what they hold."""
        index = (torch.rand(count, device=self.maps.device) * self.count).long()
        return self.maps[index].float(), self.holds[index]


def compose(
    maps: Tensor, holds: Tensor, growth: Shelf, *, known: float = KNOWN, tame: float = TAME
) -> Batch:
    """Walls of contents layers ``maps``, one each; a share knows its bare look, a share is tame."""
    dice = Dice(len(maps), maps.device, tame=tame)
    recolour = Recolour.draw(dice)
    frame = Frame.draw(dice)
    contents = bare(maps, dice, recolour)
    wall = grown(
        contents, growth.draw(dice.count)[0], growth.draw(dice.count)[0], dice,
        floor_row=frame.floor_row,
    )  # fmt: skip
    view = behind_glass(wall, frame, dice)
    logs = logs_of(view.linear)
    look = _bare_look(maps, recolour, dice, known)
    rows = torch.ones_like(frame.inside)
    x = torch.cat(
        [logs, frame.sine * rows, frame.sine**2 * rows, frame.height_mm / HEIGHT_MM * rows,
         view.burnt, look.channels(logs)], dim=1,
    ) * frame.inside  # fmt: skip
    return Batch(
        x,
        view.seen[:, 0].long(),
        view.beneath[:, 0].long(),
        (wall.opacity * frame.filled)[:, 0],
        (wall.caps * frame.filled)[:, 0],
        holds,
    )


def logs_of(linear: Tensor) -> Tensor:
    """The network's three logs of linear light, as :func:`jarvision.vision.tissue.inputs`."""
    linear = linear.clamp(min=0.0) + LIGHT_FLOOR
    light = (linear * bands(linear.device, 0.2126, 0.7152, 0.0722)).sum(1, keepdim=True).log()
    red, green, blue = linear.log().split(1, dim=1)
    logs = torch.cat([light, red - green, blue - green], dim=1)
    middle, spread = (bands(linear.device, *part.tolist()) for part in (MIDDLE, SPREAD))
    return (logs - middle) / spread


@dataclass(frozen=True)
class Looks:
    """Bare looks of a batch: colours ``(n, COLOURS, 3)``, spread and known ``(n, 1, 1, 1)``."""

    colours: Tensor
    spread: Tensor
    known: Tensor

    def channels(self, logs: Tensor) -> Tensor:
        """As :func:`jarvision.vision.tissue.reference.reference_channels`, for a batch."""
        flat = logs.flatten(2)
        inner = -2.0 * (self.colours @ flat)
        inner = inner + (self.colours**2).sum(2, keepdim=True) + (flat**2).sum(1, keepdim=True)
        nearest = inner.amin(dim=1).clamp(min=0.0).sqrt().reshape(len(logs), 1, *logs.shape[2:])
        away = logs - self.colours.mean(1)[:, :, None, None]
        ones = torch.ones_like(nearest)
        parts = (nearest / (1.0 + nearest), away.clamp(-_STRONGEST, _STRONGEST),
                 self.spread * ones, ones)  # fmt: skip
        return torch.cat(parts, dim=1) * self.known


def looks_of(places: Tensor, known: Tensor) -> Looks:
    """Typical colours of places ``(n, samples, 3)``: k-means as in the package."""
    count = places.shape[1]
    order = places[..., 0].argsort(dim=1)
    pick = torch.linspace(0, count - 1, COLOURS + 2, device=places.device).long()[1:-1]
    centres = places.gather(1, order[:, pick][..., None].expand(-1, -1, 3))
    for _ in range(_ROUNDS):
        nearest = torch.cdist(places, centres).argmin(dim=2)
        numbers = torch.arange(COLOURS, device=places.device)
        mine = (nearest[..., None] == numbers).to(places.dtype)
        total = mine.sum(1)[..., None]
        mean = (mine.transpose(1, 2) @ places) / total.clamp(min=1.0)
        centres = torch.where(total > 0, mean, centres)
    spread = places[..., 0].std(dim=1, correction=0)[:, None, None, None]
    return Looks(centres, spread, known)


def _bare_look(maps: Tensor, recolour: Recolour, dice: Dice, known: float) -> Looks:
    """The look of the same contents in another photo of the jar, if it is known."""
    part = bare(maps, dice, recolour, window=REFERENCE_WINDOW)
    flat = torch.zeros(dice.count, 1, 1, REFERENCE_WINDOW[1], device=dice.device)
    linear = lit(part.albedo, part.relief_mm, part.gloss, flat, dice)
    logs = logs_of(seen_by_camera(linear, dice)).flatten(2).transpose(1, 2)
    at = torch.randint(0, logs.shape[1], (SAMPLES,), device=dice.device)
    return polluted(looks_of(logs[:, at], dice.chance(known)), dice)


def polluted(looks: Looks, dice: Dice) -> Looks:
    """Some looks with a little white growth among the bare colours, as first photos show it."""
    white = lab_colour(dice.uniform(70, 97), dice.uniform(0, 10), dice.uniform(60, 110))
    white = logs_of(white.expand(-1, -1, 1, 3)).transpose(1, 3)[:, :, 0]  # (n, 3, 3)
    here = dice.chance(0.12)[:, :, 0]
    few = looks.colours[:, -3:]
    some = torch.rand(dice.count, 3, 1, device=dice.device) < 0.6
    mixed = torch.where((here > 0) & some, white + 0.1 * torch.randn_like(few), few)
    return Looks(torch.cat([looks.colours[:, :-3], mixed], dim=1), looks.spread, looks.known)


def own_looks(x: Tensor, seen: Tensor, dice: Dice, known: float) -> Looks:
    """Looks of real walls from their own bare places, in slightly other light; few give none."""
    at = torch.randint(0, WINDOW[0] * WINDOW[1], (4 * SAMPLES,), device=x.device)
    logs = x[:, :3].flatten(2)[:, :, at].transpose(1, 2)
    there = seen.flatten(1)[:, at] == 2  # BARE
    order = there.int().argsort(dim=1, descending=True, stable=True)
    total = there.sum(1, keepdim=True)
    turn = torch.arange(SAMPLES, device=x.device)[None] % total.clamp(min=1)
    places = logs.gather(1, order.gather(1, turn)[..., None].expand(-1, -1, 3))
    other = torch.randn(len(x), 1, 3, device=x.device) * constant((0.14, 0.2, 0.16), x.device)
    told = dice.chance(known) * (total > 100).float()[:, :, None, None]
    return polluted(looks_of(places + other, told), dice)
