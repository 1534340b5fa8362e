"""Batches in a fixed order: walls of each family, of real textures, and painted ones."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import torch
from torch import Tensor

from .composed_walls import KNOWN, Batch, Shelf, compose, own_looks
from .contents_layers import FAMILIES
from .draws import Dice
from .training_walls import CANVAS, Walls, vary

PAINTED_MAPS = ("x", "seen", "beneath", "opacity", "pins")


@dataclass(frozen=True)
class Plan:
    """How many walls of a batch come from each source."""

    family: int = 5
    texture: int = 8
    painted: int = 10

    @property
    def size(self) -> int:
        """Walls of a batch."""
        return len(FAMILIES) * self.family + self.texture + self.painted

    def of_family(self, family: int) -> slice:
        """Where a family's own walls lie in a batch."""
        return slice(family * self.family, (family + 1) * self.family)

    @property
    def textures(self) -> slice:
        """Where the walls of real textures lie."""
        first = len(FAMILIES) * self.family
        return slice(first, first + self.texture)


@dataclass
class Stock:
    """All that batches are drawn from, on the card."""

    families: list[Shelf]
    texture: Shelf
    growth: Shelf
    painted: list[Shelf]
    seen_files: set[str] = field(default_factory=set)

    @classmethod
    def empty(
        cls, device: torch.device, *, contents: int, photos: int, growth: int, painted: int
    ) -> Stock:
        """Room for so many layers of each family, of real textures, of growth, painted walls."""
        layer = (6, *CANVAS)
        bands = (7, 1, 1, 1, 1)
        return cls(
            [Shelf.empty(contents, layer, device) for _ in FAMILIES],
            Shelf.empty(photos, layer, device),
            Shelf.empty(growth, (3, *CANVAS), device),
            [
                Shelf(
                    torch.zeros((painted, count, *CANVAS) if count > 1 else (painted, *CANVAS),
                                dtype=torch.float16 if count > 1 else torch.uint8, device=device),
                    torch.zeros(painted, dtype=torch.long, device=device),
                    torch.zeros((), dtype=torch.long, device=device),
                )
                for count in bands
            ],
        )  # fmt: skip

    def take_in(self, folder: Path, *, most: int = 10**9) -> int:
        """Load the chunks that are there and were not yet taken in; how many were new."""
        new = 0
        for path in sorted(folder.glob("*.npz"), key=lambda path: path.stem.split("_")[-1]):
            if path.name in self.seen_files or path.name.startswith("part_") or new >= most:
                continue
            self.seen_files.add(path.name)
            new += 1
            with np.load(path) as data:
                self._add(path.name.split("_")[0], {k: torch.from_numpy(data[k]) for k in data})
        return new

    def _add(self, source: str, parts: dict[str, Tensor]) -> None:
        if source == "painted":
            for shelf, name in zip(self.painted, PAINTED_MAPS, strict=True):
                shelf.add(parts[name], parts["holds"])
        elif source in ("growth", "texture"):
            getattr(self, source).add(parts["maps"], parts["holds"])
        else:
            self.families[int(source.removeprefix("family"))].add(parts["maps"], parts["holds"])

    def ready(self) -> bool:
        """Whether there is something of everything."""
        shelves = (*self.families, self.texture, self.growth, *self.painted)
        return all(int(shelf.count) > 0 for shelf in shelves)


def draw_batch(stock: Stock, plan: Plan, *, known: float = KNOWN) -> Batch:
    """A new batch, in the order of :class:`Plan`; a share of jars knows its bare look."""
    drawn = [shelf.draw(plan.family) for shelf in stock.families]
    if plan.texture:
        drawn.append(stock.texture.draw(plan.texture))
    maps, holds = (torch.cat(part) for part in zip(*drawn, strict=True))
    composed = compose(maps, holds, stock.growth, known=known)
    if not plan.painted:
        return composed
    return Batch.joined([composed, painted_batch(stock, plan.painted)])


def painted_batch(stock: Stock, count: int) -> Batch:
    """Painted walls, varied, with their own bare look in other light."""
    first = stock.painted[0]
    index = (torch.rand(count, device=first.maps.device) * first.count).long()
    walls = vary(Walls(*(shelf.maps for shelf in stock.painted)).pick(index), mixed=0.3)
    dice = Dice(count, first.maps.device)
    looks = own_looks(walls.x, walls.beneath, dice)
    inside = (walls.seen != 255).float()[:, None]
    x = torch.cat([walls.x, looks.channels(walls.x[:, :3]) * inside], dim=1)
    return Batch(x, walls.seen, walls.beneath, walls.opacity, walls.pins.float(),
                 first.holds[index])  # fmt: skip


def allowed(batch: Batch, plan: Plan, *, left_out: int, textures: bool) -> Tensor:
    """Places in the batch that a net learns from: others stand in for what is left out.

    A bit set ``left_out`` names the families that it may not see in any part of a wall.
    """
    place = torch.arange(len(batch.x), device=batch.x.device)
    bad = (batch.holds & left_out) > 0
    if not textures:
        bad = bad | ((place >= plan.textures.start) & (place < plan.textures.stop))
    chance = (~bad).float() + 1e-9
    # A random place with its chance, without asking the card for a number.
    noise = torch.rand(len(place), len(place), device=place.device).clamp(min=1e-9)
    other = (noise.log() / chance[None]).argmax(dim=1)
    return torch.where(bad, other, place)
