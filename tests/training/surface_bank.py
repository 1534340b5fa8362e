"""Surfaces in a folder that is being filled, kept on the card as bytes."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import torch
from torch import Tensor

from jarvision.records import Float32Array
from tests.scenes.tops.spec import TopClass

UNTOLD = 255
GROUND_OF = {
    TopClass.OUTSIDE: 0, TopClass.BARE: 1, TopClass.GROWTH: 2, TopClass.OFF_COLOUR: 3,
    TopClass.PIN: 4, TopClass.CAP: 5,
}  # fmt: skip
WATER_OF = {TopClass.DROPLET: 1, TopClass.WATER: 2, TopClass.OUTSIDE: UNTOLD}


@dataclass(frozen=True)
class Surfaces:
    """Some surfaces with their truth.

    Attributes
    ----------
    pictures
        ``(n, 3, side, side)`` sRGB bytes.
    cells
        ``(n, 2, side, side)`` numbers of ground and water, :data:`UNTOLD` where not known.
    radius_mm
        ``(n,)`` of the mouths.
    droplets, bodies
        ``(m, 5)`` number of the surface, class, x, y and width in mm of droplets, and of pins and
        caps.
    """

    pictures: Tensor
    cells: Tensor
    radius_mm: Tensor
    droplets: Tensor
    bodies: Tensor

    @classmethod
    def joined(cls, parts: list[Surfaces]) -> Surfaces:
        """One after the other."""
        first = np.cumsum([0, *(len(part.pictures) for part in parts)])
        things = []
        for name in ("droplets", "bodies"):
            moved = [getattr(part, name).clone() for part in parts]
            for bodies, number in zip(moved, first, strict=False):
                bodies[:, 0] += float(number)
            things.append(torch.cat(moved))
        names = ("pictures", "cells", "radius_mm")
        joined = (torch.cat([getattr(part, name) for part in parts]) for name in names)
        return cls(*joined, *things)


@dataclass
class Stock:
    """Surfaces of one making on the card."""

    device: torch.device
    pictures: list[Tensor] = field(default_factory=list)
    cells: list[Tensor] = field(default_factory=list)
    radius_mm: list[float] = field(default_factory=list)
    bodies: list[Float32Array] = field(default_factory=list)

    def take(self, path: Path) -> None:
        """Take in a chunk."""
        with np.load(path) as chunk:
            cells = np.stack(
                [_numbers(chunk["below"], GROUND_OF), _numbers(chunk["classes"], WATER_OF, 0)],
                axis=1,
            )
            pictures = np.ascontiguousarray(chunk["pictures"].transpose(0, 3, 1, 2))
            owners, bodies = chunk["bodies"][:, 0].astype(int), chunk["bodies"][:, 1:]
            self.pictures.extend(torch.from_numpy(pictures).to(self.device))
            self.cells.extend(torch.from_numpy(cells).to(self.device))
            self.radius_mm.extend(chunk["radius_mm"].tolist())
            self.bodies.extend(bodies[owners == number] for number in range(len(pictures)))

    def draw(self, count: int, rng: np.random.Generator) -> Surfaces:
        """Some at random."""
        index = rng.integers(len(self.pictures), size=count)
        bodies = [self.bodies[k] for k in index]
        owners = np.repeat(np.arange(count), [len(one) for one in bodies])
        told = np.column_stack([owners, np.concatenate(bodies)]).astype(np.float32)
        drops = told[:, 1] == TopClass.DROPLET
        return Surfaces(
            torch.stack([self.pictures[k] for k in index]),
            torch.stack([self.cells[k] for k in index]),
            self._sent(np.array([self.radius_mm[k] for k in index], np.float32)),
            self._sent(told[drops]),
            self._sent(told[~drops]),
        )

    def _sent(self, values: Float32Array) -> Tensor:
        """Onto the card, without waiting for it."""
        there = torch.from_numpy(values)
        pinned = self.device.type == "cuda" and values.size
        return (there.pin_memory() if pinned else there).to(self.device, non_blocking=True)


def _numbers(classes: np.ndarray, table: dict[TopClass, int], rest: int = UNTOLD) -> np.ndarray:
    look_up = np.full(256, rest, np.uint8)
    for kind, number in table.items():
        look_up[kind] = number
    return np.asarray(look_up[classes])


@dataclass
class Bank:
    """A folder of painted surfaces and those of photos."""

    folder: Path
    painted: Stock
    photos: Stock
    taken: set[Path] = field(default_factory=set)

    def take_in(self, most: int = 4) -> None:
        """Take in chunks that are new, the photos' first."""
        new = sorted(path for path in self.folder.glob("[!_]*s[0-9]*.npz")
                     if path not in self.taken and not path.name.startswith("part_"))  # fmt: skip
        for path in new[:most]:
            (self.painted if path.name.startswith("tops") else self.photos).take(path)
            self.taken.add(path)

    def draw(self, painted: int, photos: int, rng: np.random.Generator) -> Surfaces:
        """A batch; photos only once there are enough of them."""
        drawn = [self.painted.draw(painted, rng)]
        if len(self.photos.pictures) >= photos:
            drawn.append(self.photos.draw(photos, rng))
        return Surfaces.joined(drawn)

    @property
    def told(self) -> str:
        """How many there are."""
        return f"painted {len(self.painted.pictures)} photos {len(self.photos.pictures)}"
