"""Batches in a fixed order: walls of each family, of real textures, rendered and painted ones."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import torch
from torch import Tensor

from jarvision.vision.tissue.inputs import CHANNELS

from .composed_walls import KNOWN, Batch, Shelf, compose, own_looks
from .contents_layers import FAMILIES
from .draws import TAME, Dice
from .training_walls import CANVAS, IGNORED, Walls, vary

WALL_MAPS = ("x", "seen", "beneath", "opacity", "pins")


@dataclass(frozen=True)
class Room:
    """How many of each source there is room for on the card, at most; contents by family."""

    contents: int = 1440
    textures: int = 1440
    growth: int = 2880
    rendered: int = 600
    painted: int = 480


@dataclass(frozen=True)
class Plan:
    """How many walls of a batch come from each source; contents and rendered ones by family."""

    family: int = 5
    texture: int = 8
    rendered: int = 3
    painted: int = 4

    def of_family(self, family: int) -> slice:
        """Where a family's composed walls lie in a batch."""
        return slice(family * self.family, (family + 1) * self.family)

    @property
    def textures(self) -> slice:
        """Where the walls of real textures lie."""
        first = len(FAMILIES) * self.family
        return slice(first, first + self.texture)

    def by_family(self) -> list[list[slice]]:
        """For each family, where its composed and its rendered walls lie."""
        families = range(len(FAMILIES))
        return [[self.of_family(k), *([self.rendered_of(k)] * (self.rendered > 0))]
                for k in families]  # fmt: skip

    def rendered_of(self, family: int) -> slice:
        """Where a family's rendered walls lie: ``rendered`` of each family."""
        first = self.textures.stop + family * self.rendered
        return slice(first, first + self.rendered)


@dataclass
class WallShelf:
    """Whole walls on the card, filled as they are made; the first ``count`` are there."""

    walls: Walls
    holds: Tensor
    count: Tensor

    @classmethod
    def empty(cls, room: int, device: torch.device) -> WallShelf:
        """Room for so many walls."""
        maps = [torch.zeros((room, *CANVAS), dtype=torch.uint8, device=device) for _ in "1234"]
        x = torch.zeros((room, CHANNELS, *CANVAS), dtype=torch.float16, device=device)
        return cls(
            Walls(x, *maps),
            torch.zeros(room, dtype=torch.long, device=device),
            torch.zeros((), dtype=torch.long, device=device),
        )

    def add(self, parts: tuple[Tensor, ...], holds: Tensor) -> None:
        """Put walls on the shelf while there is room."""
        have = int(self.count)
        new = min(len(holds), len(self.holds) - have)
        for shelf, part in zip(self.walls.parts(), parts, strict=True):
            shelf[have : have + new] = part[:new].to(shelf.device)
        self.holds[have : have + new] = holds[:new].to(self.holds.device)
        self.count.add_(new)

    def draw(self, count: int) -> tuple[Walls, Tensor]:
        """Random walls, and what they hold."""
        index = (torch.rand(count, device=self.holds.device) * self.count).long()
        return self.walls.pick(index), self.holds[index]


@dataclass
class Stock:
    """All that batches are drawn from, on the card; ``rendered`` by family."""

    families: list[Shelf]
    texture: Shelf
    growth: Shelf
    rendered: list[WallShelf]
    painted: WallShelf
    seen_files: set[str] = field(default_factory=set)

    @classmethod
    def empty(cls, device: torch.device, room: Room) -> Stock:
        """Room for so many of each."""
        layer = (6, *CANVAS)
        return cls(
            [Shelf.empty(room.contents, layer, device) for _ in FAMILIES],
            Shelf.empty(room.textures, layer, device),
            Shelf.empty(room.growth, (3, *CANVAS), device),
            [WallShelf.empty(room.rendered, device) for _ in FAMILIES],
            WallShelf.empty(room.painted, device),
        )

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
        if source in ("painted", "rendered"):
            walls = tuple(parts[name] for name in WALL_MAPS)
            families = torch.tensor([first_family(int(bits)) for bits in parts["holds"]])
            shelves = [self.painted] if source == "painted" else self.rendered
            for number, shelf in enumerate(shelves):
                mine = (families == number) | (source == "painted")
                shelf.add(tuple(part[mine] for part in walls), parts["holds"][mine])
        elif source in ("growth", "texture"):
            getattr(self, source).add(parts["maps"], parts["holds"])
        else:
            self.families[int(source.removeprefix("family"))].add(parts["maps"], parts["holds"])

    def ready(self, least: int = 1) -> bool:
        """Whether there are so many of everything."""
        return all(count >= least for count in self.counts())

    def counts(self) -> list[int]:
        """How many there are of each source."""
        shelves = (*self.families, self.texture, self.growth, *self.rendered, self.painted)
        return [int(shelf.count) for shelf in shelves]


def first_family(holds: int) -> int:
    """The family that contents count for: what they are packed with, not the spawn in them.

    Contents of no family go with the mixtures.
    """
    return holds.bit_length() - 1 if holds else len(FAMILIES) - 1


def draw_batch(stock: Stock, plan: Plan, *, known: float = KNOWN, tame: float = TAME) -> Batch:
    """A new batch, in the order of :class:`Plan`; a share of jars knows its bare look."""
    drawn = [shelf.draw(plan.family) for shelf in stock.families]
    if plan.texture:
        drawn.append(stock.texture.draw(plan.texture))
    maps, holds = (torch.cat(part) for part in zip(*drawn, strict=True))
    parts = [compose(maps, holds, stock.growth, known=known, tame=tame)]
    if plan.rendered:
        parts.append(photographed([shelf.draw(plan.rendered) for shelf in stock.rendered], known))
    if plan.painted:
        parts.append(photographed([stock.painted.draw(plan.painted)], known))
    return Batch.joined(parts)


def photographed(drawn: list[tuple[Walls, Tensor]], known: float) -> Batch:
    """Whole walls, varied; a share knows its own bare look in other light."""
    parts = zip(*(walls.parts() for walls, _ in drawn), strict=True)
    walls = vary(Walls(*(torch.cat(part) for part in parts)), mixed=0.3)
    dice = Dice(len(walls.x), walls.x.device)
    looks = own_looks(walls.x, walls.beneath, dice, known)
    inside = (walls.seen != IGNORED).float()[:, None]
    x = torch.cat([walls.x, looks.channels(walls.x[:, :3]) * inside], dim=1)
    holds = torch.cat([bits for _, bits in drawn])
    both = holds | holds.roll(1, 0)  # a wall may hold a part of the one before it
    return Batch(x, walls.seen, walls.beneath, walls.opacity, walls.pins.float(), both)


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
