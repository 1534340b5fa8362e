"""Train the surface network: ``python -m tests.training.train_surfaces BANK --out net.pt``.

``BANK`` is being filled with painted surfaces (:mod:`.top_surfaces`) and those of rendered photos
(:mod:`.surface_photos`) while this runs. Every step turns, mirrors, scales, tints, relights and
blurs what it draws.
"""

from __future__ import annotations

import argparse
import copy
import time
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from .surface_bank import Bank, Stock
from .surface_batches import IGNORED, SQUARE_MM, Batch, batch_of
from .surface_net import SurfaceNet, parts_of

GROUND_WEIGHTS = (0.3, 1.0, 1.0, 2.0, 3.0, 1.0)
WATER_WEIGHTS = (1.0, 3.0, 1.5)
SOLID = slice(1, 4)  # bare, growth, off-colour
GROWTH = 2
MEMORY = 0.998  # of the mean weights, a step
WARM_UP = 200  # steps
FEW_PER_CM2 = 0.5  # droplets, beside which a difference counts


def loss_of(squares: Tensor, batch: Batch) -> Tensor:
    """Of the cells, of coverage, of the droplets, and of pins and caps."""
    ground, water, bodies = parts_of(squares)
    droplets, droplet_mm, pin, cap, body_mm = bodies.unbind(1)
    return (
        _cells(ground, batch.ground, GROUND_WEIGHTS)
        + _cells(water, batch.water, WATER_WEIGHTS)
        + _coverage(ground, batch.ground)
        + _droplets(droplets, droplet_mm, batch)
        + _middles(torch.stack([pin, cap], dim=1), body_mm, batch)
    )


def _cells(logits: Tensor, true: Tensor, weights: tuple[float, ...]) -> Tensor:
    """Cross entropy, and how far each kind's share is off on each surface."""
    weight = torch.tensor(weights, device=logits.device)
    loss = functional.cross_entropy(logits, true, weight=weight, ignore_index=IGNORED)
    there = (true != IGNORED).float()
    cells = there.sum(dim=(1, 2)).clamp(min=1.0)
    chances = logits.softmax(dim=1)
    for kind in range(1, logits.shape[1]):
        off = ((chances[:, kind] - (true == kind).float()) * there).sum(dim=(1, 2)) / cells
        loss = loss + 0.4 * off.abs().mean()
    return loss


def _coverage(ground: Tensor, true: Tensor) -> Tensor:
    """How far coverage is off, as :mod:`jarvision.vision.surface.cover` works it out."""
    shown = ((true >= SOLID.start) & (true < SOLID.stop)).float()
    growth = ground[:, SOLID].softmax(dim=1)[:, GROWTH - SOLID.start]
    off = ((growth - (true == GROWTH).float()) * shown).sum(dim=(1, 2))
    return 1.5 * (off.abs() / shown.sum(dim=(1, 2)).clamp(min=200.0)).mean()


def _droplets(log_count: Tensor, log_mm: Tensor, batch: Batch) -> Tensor:
    """Poisson's likelihood of the counts, sizes, and how many there are on each surface."""
    log_count = log_count.clamp(-14.0, 3.0)
    count = log_count.exp() * batch.inside
    true = batch.droplets * batch.inside
    there = (true > 0.0).float()
    each = (count - true * log_count).sum() / (true.sum() + 40.0 * len(true))
    size = ((log_mm - batch.droplet_mm).abs() * there).sum() / there.sum().clamp(min=1.0)
    cm2 = batch.inside.sum(dim=(1, 2)) * SQUARE_MM**2 / 100.0
    said, told = ((part.sum(dim=(1, 2)) / cm2 + FEW_PER_CM2).log() for part in (count, true))
    return 0.2 * each + 0.3 * size + 0.2 * (said - told).abs().mean()


def _middles(logits: Tensor, log_mm: Tensor, batch: Batch) -> Tensor:
    """Focal loss of the hills about middles (as Law and Deng 2018 have it, from memory); widths."""
    true, worth = batch.middles, batch.inside[:, None]
    peak = (true >= 1.0).float() * worth
    chance = torch.sigmoid(logits)
    hit = peak * (1.0 - chance).square() * functional.logsigmoid(logits)
    miss = (1.0 - true).pow(4) * chance.square() * functional.logsigmoid(-logits)
    miss = miss * (1.0 - peak) * worth
    each = -(hit + miss).sum(dim=(0, 2, 3)) / (peak.sum(dim=(0, 2, 3)) + 4.0)
    near = true.amax(dim=1) * batch.inside
    size = ((log_mm - batch.body_mm).abs() * near).sum() / near.sum().clamp(min=1.0)
    return 0.25 * each.sum() + 0.3 * size


class Learner:
    """The net in training, its optimiser and its averaged weights."""

    def __init__(self, device: torch.device) -> None:
        self.net: nn.Module = SurfaceNet().to(device).to(memory_format=torch.channels_last)
        self.mean = copy.deepcopy(self.net).eval()
        self.optimiser = torch.optim.AdamW(self.net.parameters(), weight_decay=1e-2)
        self.steps = 0

    def step(self, batch: Batch, *, rate: float) -> Tensor:
        """One step on a batch; its loss, which nobody waits for."""
        for group in self.optimiser.param_groups:
            group["lr"] = rate * min(1.0, (self.steps + 1) / WARM_UP) + 1e-6
        x = batch.x.contiguous(memory_format=torch.channels_last)
        with torch.autocast("cuda", dtype=torch.bfloat16, enabled=x.is_cuda):
            out = self.net(x)
        loss = loss_of(out.float(), batch)
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(self.net.parameters(), 5.0, foreach=True)
        self.optimiser.step()
        self._remember()
        self.steps += 1
        return loss.detach()

    @torch.no_grad()
    def _remember(self) -> None:
        keep = min(MEMORY, (1.0 + self.steps) / (10.0 + self.steps))
        new, old = ([v for v in net.state_dict().values() if v.is_floating_point()]
                    for net in (self.net, self.mean))  # fmt: skip
        torch._foreach_lerp_(old, new, 1.0 - keep)

    def save(self, path: Path) -> None:
        """Write the averaged weights; what was there before stays until they are written."""
        unfinished = path.with_name(f"part_{path.name}")
        torch.save({name: v.cpu() for name, v in self.mean.state_dict().items()}, unfinished)
        unfinished.rename(path)


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
    first = told = time.time()
    while (now := time.time()) < args.until:
        if learner.steps % 20 == 0:
            bank.take_in()
        fall = 0.5 * (1.0 + np.cos(np.pi * (now - first) / (args.until - first)))
        batch = batch_of(bank.draw(args.painted, args.photos, rng), rng)
        loss = learner.step(batch, rate=args.rate * fall)
        if now - told >= args.every:
            told = now
            learner.save(args.out)
            print(f"{now - first:.0f} s step {learner.steps} {bank.told} loss {loss.item():.3f}",
                  flush=True)  # fmt: skip
    learner.save(args.out)
    print(f"end: step {learner.steps}, {bank.told}")


def main() -> None:
    """Parse the command line and train."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("bank", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--until", type=float, required=True, help="the clock's time in seconds")
    parser.add_argument("--least", type=int, default=128, help="painted before the first step")
    parser.add_argument("--painted", type=int, default=24, help="surfaces a step")
    parser.add_argument("--photos", type=int, default=24, help="surfaces a step")
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--every", type=float, default=60.0, help="seconds between two savings")
    parser.add_argument("--seed", type=int, default=1)
    train(parser.parse_args())


if __name__ == "__main__":
    main()
