"""Train the surface network: ``python -m tests.training.train_surfaces BANK --out net.pt``.

``BANK`` is being filled with painted surfaces (:mod:`.top_surfaces`) and those of rendered photos
(:mod:`.surface_photos`) while this runs. Every step turns, mirrors, relights, blurs and scales
what it draws.
"""

from __future__ import annotations

import argparse
import copy
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from jarvision.vision.tissue.inputs import MIDDLE, SPREAD
from tests.scenes.tops.spec import TopClass

from .composed_walls import LIGHT_FLOOR
from .surface_net import GROUND, WATER, SurfaceNet
from .top_surfaces import CELL_MM, SIDE

IGNORED = -100
GROUND_OF = {
    TopClass.OUTSIDE: 0, TopClass.BARE: 1, TopClass.GROWTH: 2, TopClass.OFF_COLOUR: 3,
    TopClass.PIN: 4, TopClass.CAP: 5,
}  # fmt: skip
GROUND_WEIGHTS = (0.3, 1.0, 1.0, 1.5, 4.0, 1.0)
WATER_WEIGHTS = (1.0, 3.0, 1.5)
MEMORY = 0.998  # of the mean weights, a step
WARM_UP = 200  # steps


@dataclass
class Stock:
    """Surfaces on the card: pictures ``(n, 3, SIDE, SIDE)`` and truth, as bytes."""

    device: torch.device
    pictures: list[Tensor] = field(default_factory=list)
    ground: list[Tensor] = field(default_factory=list)
    water: list[Tensor] = field(default_factory=list)
    radius_mm: list[float] = field(default_factory=list)

    def take(self, path: Path) -> None:
        """Take in a chunk."""
        with np.load(path) as chunk:
            classes, below = chunk["classes"], chunk["below"]
            table = np.full(256, 255, np.uint8)
            for kind, number in GROUND_OF.items():
                table[kind] = number
            water = np.zeros_like(classes)
            water[classes == TopClass.DROPLET] = 1
            water[classes == TopClass.WATER] = 2
            water[classes == TopClass.OUTSIDE] = 255
            for part, to in ((chunk["pictures"].transpose(0, 3, 1, 2), self.pictures),
                             (table[below], self.ground), (water, self.water)):  # fmt: skip
                to.extend(torch.from_numpy(np.ascontiguousarray(part)).to(self.device))
            self.radius_mm.extend(chunk["radius_mm"].tolist())

    def draw(self, count: int, rng: np.random.Generator) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """Random pictures ``(count, 3, SIDE, SIDE)`` in linear light, ground, water, radius."""
        index = rng.integers(len(self.pictures), size=count)
        pick = [torch.stack([part[k] for k in index])
                for part in (self.pictures, self.ground, self.water)]  # fmt: skip
        radius = torch.tensor([self.radius_mm[k] for k in index], device=self.device)
        return linear_of(pick[0]), pick[1].long(), pick[2].long(), radius


def linear_of(rgb: Tensor) -> Tensor:
    """Linear light of sRGB bytes (IEC 61966-2-1)."""
    part = rgb.float() / 255.0
    return torch.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def inputs_of(linear: Tensor, within: Tensor) -> Tensor:
    """What the network sees: three logs inside the mouth, and the mouth itself."""
    light = linear.clamp(min=0.0) + LIGHT_FLOOR
    weights = torch.tensor([0.2126, 0.7152, 0.0722], device=linear.device)[None, :, None, None]
    luminance = (light * weights).sum(1, keepdim=True).log()
    red, green, blue = light.log().split(1, dim=1)
    logs = torch.cat([luminance, red - green, blue - green], dim=1)
    middle, spread = (
        torch.tensor(part.tolist(), device=linear.device)[None, :, None, None]
        for part in (MIDDLE, SPREAD)
    )
    return torch.cat([(logs - middle) / spread, torch.ones_like(luminance)], dim=1) * within


def varied(
    linear: Tensor, ground: Tensor, water: Tensor, radius: Tensor, rng: np.random.Generator
) -> tuple[Tensor, Tensor, Tensor]:
    """Inputs and truth of surfaces, turned, mirrored, relit, blurred, each in its own way."""
    n, device = len(linear), linear.device
    turn, mirror = int(rng.integers(4)), bool(rng.random() < 0.5)
    parts = [linear, ground, water]
    parts = [torch.rot90(part, turn, (-2, -1)) for part in parts]
    if mirror:
        parts = [part.flip(-1) for part in parts]
    linear, ground, water = parts

    def normal(*shape: int) -> Tensor:
        return torch.randn(shape, device=device)

    linear = linear * torch.exp(0.25 * normal(n, 1, 1, 1) + 0.06 * normal(n, 3, 1, 1))
    if rng.random() < 0.5:
        sigma = float(rng.uniform(0.3, 1.2))
        at = torch.arange(-3, 4, device=device, dtype=torch.float32)
        line = torch.exp(-0.5 * (at / sigma) ** 2)
        line = line / line.sum()
        kernel = (line[:, None] * line[None, :]).expand(3, 1, 7, 7)
        linear = functional.conv2d(linear, kernel, padding=3, groups=3)
    noise = torch.rand(n, 1, 1, 1, device=device) * 0.03
    linear = (linear + noise * linear.clamp(min=0.0).sqrt() * normal(*linear.shape)).clamp(0.0, 1.2)
    axis = (torch.arange(SIDE, device=device) + 0.5 - SIDE / 2) * CELL_MM
    far = torch.hypot(axis[:, None], axis[None, :])[None]
    jitter = 0.6 * normal(n) - 0.2
    within = (far <= (radius + jitter)[:, None, None])[:, None].float()
    inside = within[:, 0] > 0
    ground = torch.where(inside & (ground != 255), ground, IGNORED)
    water = torch.where(inside & (water != 255), water, IGNORED)
    return inputs_of(linear, within), ground, water


def loss_of(out: Tensor, ground: Tensor, water: Tensor) -> Tensor:
    """Cross entropy of ground and water, and how far their shares are off on each surface."""
    device = out.device
    weights = [torch.tensor(w, device=device) for w in (GROUND_WEIGHTS, WATER_WEIGHTS)]
    said = out.split([len(GROUND), len(WATER)], dim=1)
    loss = torch.zeros((), device=device)
    for logits, true, weight in zip(said, (ground, water), weights, strict=True):
        loss = loss + functional.cross_entropy(logits, true, weight=weight, ignore_index=IGNORED)
        there = (true != IGNORED).float()
        cells = there.sum(dim=(1, 2)).clamp(min=1.0)
        chances = logits.softmax(dim=1)
        for kind in range(1, logits.shape[1]):
            off = ((chances[:, kind] - (true == kind).float()) * there).sum(dim=(1, 2)) / cells
            loss = loss + 0.5 * off.abs().mean()
    return loss


class Learner:
    """The net in training, its optimiser and its averaged weights."""

    def __init__(self, device: torch.device) -> None:
        self.net: nn.Module = SurfaceNet().to(device).to(memory_format=torch.channels_last)
        self.mean = copy.deepcopy(self.net).eval()
        self.optimiser = torch.optim.AdamW(self.net.parameters(), weight_decay=1e-2)
        self.steps = 0

    def step(self, x: Tensor, ground: Tensor, water: Tensor, *, rate: float) -> float:
        """One step on a batch; its loss."""
        for group in self.optimiser.param_groups:
            group["lr"] = rate * min(1.0, (self.steps + 1) / WARM_UP) + 1e-6
        with torch.autocast("cuda", dtype=torch.bfloat16, enabled=x.is_cuda):
            out = self.net(x.contiguous(memory_format=torch.channels_last))
        loss = loss_of(out.float(), ground, water)
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(self.net.parameters(), 5.0)
        self.optimiser.step()
        self._remember()
        self.steps += 1
        return loss.item()

    @torch.no_grad()
    def _remember(self) -> None:
        keep = min(MEMORY, (1.0 + self.steps) / (10.0 + self.steps))
        pairs = zip(self.mean.state_dict().values(), self.net.state_dict().values(), strict=True)
        for old, new in pairs:
            if old.is_floating_point():
                old.lerp_(new, 1.0 - keep)
            else:
                old.copy_(new)

    def save(self, path: Path) -> None:
        """Write the averaged weights."""
        torch.save({name: value.cpu() for name, value in self.mean.state_dict().items()}, path)


@dataclass
class Bank:
    """Surfaces in a folder that is being filled."""

    folder: Path
    painted: Stock
    photos: Stock
    taken: set[Path] = field(default_factory=set)

    def take_in(self) -> None:
        """Take in the chunks that are new."""
        for path in sorted(self.folder.glob("*.npz")):
            if path not in self.taken and not path.name.startswith("part_"):
                (self.painted if path.name.startswith("tops") else self.photos).take(path)
                self.taken.add(path)

    def draw(self, painted: int, photos: int, rng: np.random.Generator) -> tuple[Tensor, ...]:
        """A batch; photos only once there are enough of them."""
        drawn = [self.painted.draw(painted, rng)]
        if len(self.photos.pictures) >= photos:
            drawn.append(self.photos.draw(photos, rng))
        linear, ground, water, radius = (torch.cat(part) for part in zip(*drawn, strict=True))
        return varied(linear, ground, water, radius, rng)

    @property
    def told(self) -> str:
        """How many there are."""
        return f"painted {len(self.painted.pictures)} photos {len(self.photos.pictures)}"


def train(args: argparse.Namespace) -> None:
    """Train until the clock says so."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cudnn.benchmark = True
    torch.manual_seed(args.seed)
    rng = np.random.default_rng(args.seed)
    bank = Bank(args.bank, Stock(device), Stock(device))
    learner = Learner(device)
    while len(bank.painted.pictures) < args.least:
        bank.take_in()
        time.sleep(0.5)
    first = time.time()
    while (now := time.time()) < args.until:
        if learner.steps % 50 == 0:
            bank.take_in()
        fall = 0.5 * (1.0 + np.cos(np.pi * (now - first) / (args.until - first)))
        x, ground, water = bank.draw(args.painted, args.photos, rng)
        loss = learner.step(x, ground, water, rate=args.rate * fall)
        if learner.steps % args.every == 0:
            learner.save(args.out)
            print(
                f"{now - first:.0f} s step {learner.steps} {bank.told} loss {loss:.3f}", flush=True
            )
    learner.save(args.out)
    print(f"end: step {learner.steps}, {bank.told}")


def main() -> None:
    """Parse the command line and train."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("bank", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--until", type=float, required=True, help="the clock's time in seconds")
    parser.add_argument("--least", type=int, default=256, help="painted before the first step")
    parser.add_argument("--painted", type=int, default=20, help="surfaces a step")
    parser.add_argument("--photos", type=int, default=12, help="surfaces a step")
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--every", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    train(parser.parse_args())


if __name__ == "__main__":
    main()
