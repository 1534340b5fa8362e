"""Train the tissue network: ``python -m tests.training.train WALLS [MORE] --out net.pt``.

Folders are written by :mod:`tests.training.wall_data` or :mod:`tests.training.painted_walls`;
batches draw from all, every n-th wall of the first validates. Needs PyTorch; a graphics
card, which records one step and replays it, makes it minutes instead of hours.
``tests/training/export.py`` turns the result into the ONNX file of the package.
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

from jarvision.records import TissueClass

from .training_walls import IGNORED, UNJUDGED, Walls, load_walls, vary
from .wall_net import CLASS_COUNT, WIDTHS, WallNet

CAP_WEIGHT = 5.0
CLASS_WEIGHTS = {
    TissueClass.OUTSIDE: 0.6, TissueClass.UNJUDGED: 1.0, TissueClass.BARE: 1.0,
    TissueClass.MYCELIUM: 1.0, TissueClass.STAIN: 1.5, TissueClass.GREEN: 2.0,
    TissueClass.BLACK: 2.0, TissueClass.PINK: 2.0, TissueClass.YELLOW: 2.0, TissueClass.WET: 2.0,
}  # fmt: skip


def is_covered(kinds: Tensor) -> Tensor:
    """Where mycelium or its normal stain covers the place, as 0 and 1."""
    growth = (kinds == int(TissueClass.MYCELIUM)) | (kinds == int(TissueClass.STAIN))
    return growth.float()


def contents_of(kinds: Tensor) -> Tensor:
    """Where contents stand and are told, as 0 and 1."""
    return ((kinds != IGNORED) & (kinds > UNJUDGED)).float()


def loss_of(out: Tensor, walls: Walls, weights: Tensor) -> Tensor:
    """Cross entropy of classes, opacity, cover and caps, and the error of each wall's coverage.

    Cover is asked wherever contents stand, seen or not; what hides them counts half. Caps are
    rare: each counts five times.
    """
    entropy = functional.cross_entropy(
        out[:, :CLASS_COUNT], walls.seen, weight=weights, ignore_index=IGNORED
    )
    seen, there = contents_of(walls.seen), contents_of(walls.beneath)
    true, logit = is_covered(walls.beneath), out[:, CLASS_COUNT + 1]
    opacity = _mean_entropy(out[:, CLASS_COUNT], walls.opacity, seen)
    cover = _mean_entropy(logit, true, there * (0.5 + 0.5 * seen))
    cells = there.sum(dim=(1, 2)).clamp(min=1.0)
    excess = ((torch.sigmoid(logit) - true) * there).sum(dim=(1, 2)) / cells
    clear = ((walls.seen != IGNORED) & (walls.seen != UNJUDGED)).float()
    caps = _mean_entropy(out[:, CLASS_COUNT + 2], walls.pins, clear, rare=CAP_WEIGHT)
    return entropy + 0.3 * opacity + 0.7 * cover + 0.5 * excess.abs().mean() + 0.7 * caps


def _mean_entropy(logit: Tensor, true: Tensor, worth: Tensor, *, rare: float = 1.0) -> Tensor:
    """Binary cross entropy, a mean over the places by their ``worth``."""
    each = functional.binary_cross_entropy_with_logits(
        logit, true, reduction="none", pos_weight=torch.full_like(logit[0, 0, 0], rare)
    )
    return (each * worth).sum() / worth.sum().clamp(min=1.0)


@torch.no_grad()
def validate(net: nn.Module, walls: Walls) -> tuple[float, float, float]:
    """Share of places classed right, and mean and 95th error of the coverage in points."""
    net.eval()
    right, errors = [], []
    for i in range(len(walls)):
        one = walls.pick(slice(i, i + 1))
        out = net(one.x)[0]
        known = one.seen[0] != IGNORED
        right.append((out[:CLASS_COUNT].argmax(0)[known] == one.seen[0][known]).float().mean())
        there = contents_of(one.beneath[0]) > 0
        excess = torch.sigmoid(out[CLASS_COUNT + 1])[there] - is_covered(one.beneath[0])[there]
        errors.append(100.0 * excess.mean().abs())
    worst = torch.stack(errors)
    return float(torch.stack(right).mean()), float(worst.mean()), float(worst.quantile(0.95))


class Trainer:
    """One net in training: its optimiser, its averaged weights, and the step of both."""

    def __init__(self, net: WallNet, walls: Walls, args: argparse.Namespace) -> None:
        self.net, self.walls, self.device = net, walls, walls.x.device
        self.mixed, self.memory = args.mixed, args.memory
        self.mean = copy.deepcopy(net)
        if args.keep_norms:
            net.eval()
        self.index = torch.zeros(args.batch, dtype=torch.long, device=self.device)
        on_card = self.device.type == "cuda"
        self.rate = torch.tensor(1e-6, device=self.device)
        self.optimiser = torch.optim.AdamW(
            net.parameters(), lr=self.rate, weight_decay=args.decay, capturable=on_card
        )
        self.weights = torch.ones(CLASS_COUNT, device=self.device)
        for kind, weight in CLASS_WEIGHTS.items():
            self.weights[int(kind)] = weight
        self.loss = torch.zeros((), device=self.device)
        self.recorded = self._record() if on_card and not args.unrecorded else None

    def step(self, index: Tensor, rate: float) -> None:
        """One step on the walls ``index`` at a learning rate."""
        self.index.copy_(index)
        self.rate.fill_(rate)
        if self.recorded is None:
            self._step()
        else:
            self.recorded.replay()

    def _step(self) -> None:
        with torch.no_grad():
            batch = vary(self.walls.pick(self.index), mixed=self.mixed)
        on_card = self.device.type == "cuda"  # half floats are slower elsewhere
        with torch.autocast("cuda", dtype=torch.bfloat16, enabled=on_card, cache_enabled=False):
            out = self.net(batch.x.contiguous(memory_format=torch.channels_last))
        loss = loss_of(out.float(), batch, self.weights)
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        self.optimiser.step()
        with torch.no_grad():
            self.loss.copy_(loss)
            new, old = ([v for v in net.state_dict().values() if v.is_floating_point()]
                        for net in (self.net, self.mean))  # fmt: skip
            torch._foreach_lerp_(old, new, 1.0 - self.memory)

    def _record(self) -> torch.cuda.CUDAGraph:
        """The step as one recording: a small net spends most of its time in starting kernels."""
        torch.backends.cudnn.benchmark = True
        aside = torch.cuda.Stream()
        aside.wait_stream(torch.cuda.current_stream())
        with torch.cuda.stream(aside):
            for _ in range(12):
                self._step()
        torch.cuda.current_stream().wait_stream(aside)
        graph = torch.cuda.CUDAGraph()
        self.optimiser.zero_grad(set_to_none=True)
        with torch.cuda.graph(graph):
            self._step()
        return graph


def train(args: argparse.Namespace) -> None:
    """Train until the time is up and save the averaged weights."""
    torch.manual_seed(args.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    folders = [load_walls(folder) for folder in args.walls]
    sizes = torch.tensor([len(folder) for folder in folders], device=device)
    parts = zip(*(folder.parts() for folder in folders), strict=True)
    walls = Walls(*(torch.cat(part).to(device) for part in parts))
    del folders, parts  # as large as what was made of them
    print(f"{sizes.tolist()} walls on {device}", flush=True)
    number = torch.arange(len(walls), device=device)
    held = (number % args.hold_every == 0) & (number < sizes[0])
    worth = torch.tensor(args.worth or [1.0] * len(sizes), device=device)
    source = torch.repeat_interleave(torch.arange(len(sizes), device=device), sizes)
    chance = (~held).float() * worth[source]
    judged = walls.pick(held)
    net = WallNet(tuple(args.widths)).to(device).to(memory_format=torch.channels_last)
    if args.start:
        net.load_state_dict(torch.load(args.start, weights_only=True))
    print(f"{sum(p.numel() for p in net.parameters())} weights", flush=True)
    trainer = Trainer(net, walls, args)
    start, step = time.time(), 0
    seconds = args.until - start if args.until else args.seconds
    while (spent := time.time() - start) < seconds:
        fall = 0.5 * (1 + np.cos(np.pi * spent / seconds)) * min(1.0, step / 300)
        index = torch.multinomial(chance, args.batch, replacement=True)
        trainer.step(index, args.rate * fall + 1e-6)
        step += 1
        if step % 50 == 0 and device.type == "cuda":
            torch.cuda.synchronize()  # keeps the clock honest: steps are only queued
        if step % args.every == 0:
            tell(f"{spent:.0f} s step {step} loss {trainer.loss.item():.3f}", trainer, judged)
            save(trainer.mean, args.out)
    tell(f"end: step {step}", trainer, judged)
    save(trainer.mean, args.out)


def tell(words: str, trainer: Trainer, judged: Walls) -> None:
    """Print how well the averaged net does on the walls that it is not trained on."""
    right, error, worst = validate(trainer.mean, judged)
    print(f"{words} right {right:.4f} coverage error {error:.2f}, 95th {worst:.2f}", flush=True)


def save(net: nn.Module, path: Path) -> None:
    """Write the weights."""
    torch.save({k: v.cpu() for k, v in net.state_dict().items()}, path)


def main() -> None:
    """Parse the command line and train."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("walls", type=Path, nargs="+")
    parser.add_argument("--worth", type=float, nargs="+", help="of a wall of each folder: 1")
    parser.add_argument("--widths", type=int, nargs=5, default=list(WIDTHS))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--start", type=Path, help="weights to go on from")
    parser.add_argument("--rate", type=float, default=2e-3, help="highest learning rate")
    parser.add_argument("--decay", type=float, default=1e-2, help="weight decay")
    parser.add_argument("--mixed", type=float, default=0.0, help="share with another's contents")
    parser.add_argument("--memory", type=float, default=0.999, help="of the mean weights, a step")
    parser.add_argument("--keep-norms", action="store_true", help="for small batches: as started")
    parser.add_argument("--unrecorded", action="store_true", help="start every kernel anew")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=150.0)
    parser.add_argument("--until", type=float, help="the clock's time in seconds; instead")
    parser.add_argument("--batch", type=int, default=16)
    parser.add_argument("--every", type=int, default=400)
    parser.add_argument("--hold-every", type=int, default=8, help="every n-th wall validates")
    train(parser.parse_args())


if __name__ == "__main__":
    main()
