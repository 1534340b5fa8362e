"""Train the tissue network: ``python -m tests.accuracy.train_tissue WALLS [MORE] --out net.pt``.

Folders are written by :mod:`tests.accuracy.wall_data` or :mod:`tests.accuracy.painted_walls`;
batches draw from all, every n-th wall of the first validates. Needs PyTorch; a graphics
card makes it minutes instead of hours. ``tests/accuracy/export_tissue.py`` turns the result into
the ONNX file of the package.
"""

from __future__ import annotations

import argparse
import os
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from jarvision.colourspace import srgb_decode
from jarvision.records import TissueClass, Wall
from jarvision.tissue.inputs import CHANNELS, network_inputs

from .wall_data import HEADROOM
from .wall_net import CLASS_COUNT, WIDTHS, WallNet

CANVAS = (640, 448)  # rows, columns of 0.25 mm
WINDOW = (448, 352)
IGNORED = 255
CAP_WEIGHT = 5.0
CLASS_WEIGHTS = {
    TissueClass.OUTSIDE: 0.6, TissueClass.UNJUDGED: 1.0, TissueClass.BARE: 1.0,
    TissueClass.MYCELIUM: 1.0, TissueClass.STAIN: 1.5, TissueClass.GREEN: 2.0,
    TissueClass.BLACK: 2.0, TissueClass.PINK: 2.0, TissueClass.YELLOW: 2.0, TissueClass.WET: 2.0,
}  # fmt: skip


@dataclass(frozen=True)
class Walls:
    """Walls on the canvas: inputs ``(n, 7, rows, cols)``; classes, opacity and caps as bytes."""

    x: Tensor
    seen: Tensor
    beneath: Tensor
    opacity: Tensor
    pins: Tensor

    def parts(self) -> tuple[Tensor, ...]:
        """The five tensors."""
        return self.x, self.seen, self.beneath, self.opacity, self.pins

    def pick(self, index: Tensor | slice) -> Walls:
        """Some of the walls, inputs as 32-bit floats."""
        return Walls(self.x[index].float(), *(part[index] for part in self.parts()[1:]))

    def __len__(self) -> int:
        return len(self.x)


def load_walls(folder: Path) -> Walls:
    """Every wall of a folder, padded to the canvas; inputs are half floats."""
    with ProcessPoolExecutor(max(1, len(os.sched_getaffinity(0)))) as pool:
        walls = list(pool.map(load_wall, sorted(folder.glob("*.npz")), chunksize=8))
    return Walls(*(torch.from_numpy(np.stack(part)) for part in zip(*walls, strict=True)))


def load_wall(path: Path) -> tuple[np.ndarray, ...]:
    """Inputs, classes seen, classes beneath, opacity and caps of one wall."""
    with np.load(path) as data:
        colour = cv2.imdecode(data["colour"], cv2.IMREAD_COLOR)[..., ::-1]
        maps = [
            cv2.imdecode(data[name], cv2.IMREAD_GRAYSCALE)
            for name in ("classes", "beneath", "opacity")
        ]
        shape = maps[0].shape
        burnt, pins = (
            np.unpackbits(data[name], count=maps[0].size).reshape(shape)
            for name in ("burnt", "pins")
        )
        linear = (HEADROOM * srgb_decode(colour / 255.0)).astype(np.float32)
        yes = np.ones(shape, bool)
        wall = Wall(
            linear, data["angles_deg"], data["heights_mm"], float(data["radius_mm"]),
            yes, yes, np.zeros((1, 1, 2), np.float32),
        )  # fmt: skip
    rows, cols = (min(size, limit) for size, limit in zip(shape, CANVAS, strict=True))
    x = np.zeros((CHANNELS, *CANVAS), np.float16)
    x[:, :rows, :cols] = network_inputs(wall, burnt > 0)[:, :rows, :cols]
    padded = [np.full(CANVAS, fill, np.uint8) for fill in (IGNORED, IGNORED, 0, 0)]
    for canvas, picture in zip(padded, (*maps, pins), strict=True):
        canvas[:rows, :cols] = picture[:rows, :cols]
    return x, *padded


def vary(walls: Walls) -> Walls:
    """Flip, shift and scale a batch; change its colours, slope its light and tint; blur, noise."""
    x, n, device = walls.x, len(walls), walls.x.device

    def normal(*shape: int) -> Tensor:
        return torch.randn(n, *shape, device=device)

    flip = torch.where(torch.rand(n, device=device) < 0.5, -1.0, 1.0)
    grow = torch.exp(normal() * 0.08)
    theta = torch.zeros(n, 2, 3, device=device)
    theta[:, 0, 0], theta[:, 1, 1] = flip * grow, grow
    theta[:, 0, 1] = normal() * 0.03
    theta[:, :, 2] = normal(2) * 0.06
    grid = functional.affine_grid(theta, list(x.shape), align_corners=False)
    x = functional.grid_sample(x, grid, align_corners=False)
    labels = torch.stack([part.float() for part in walls.parts()[1:]], dim=1)
    labels[:, :2] = (labels[:, :2] + 1.0) * (labels[:, :2] != IGNORED)
    labels = functional.grid_sample(labels, grid, mode="nearest", align_corners=False).round()
    kinds = torch.where(labels[:, :2] > 0, labels[:, :2] - 1, torch.full_like(x[:, :2], IGNORED))
    inside = (kinds[:, :1] != IGNORED).float()
    x[:, 3] *= flip[:, None, None]
    sine, height = x[:, 3:4], x[:, 5:6] - 0.5
    tints = x.new_tensor([0.22, 0.12, 0.12])[:, None, None]
    slopes = x.new_tensor([0.12, 0.08, 0.08])[:, None, None]
    changed = x[:, :3] + normal(3, 1, 1) * tints
    changed = changed + normal(3, 1, 1) * slopes * sine + normal(3, 1, 1) * slopes * height
    soft = functional.avg_pool2d(changed, 3, 1, 1)
    share = torch.rand(n, 1, 1, 1, device=device) * (torch.rand(n, 1, 1, 1, device=device) < 0.5)
    grain = torch.rand(n, 1, 1, 1, device=device) * 0.06
    changed = changed + share * (soft - changed) + grain * torch.randn_like(changed)
    x = torch.cat([changed, x[:, 3:]], dim=1) * inside
    return Walls(x, kinds[:, 0].long(), kinds[:, 1].long(), labels[:, 2] / 255.0, labels[:, 3])


def window(walls: Walls) -> Walls:
    """Cut one random window out of a batch: most of a jar, half of the canvas."""
    top = int(torch.randint(0, CANVAS[0] - WINDOW[0] + 1, ()))
    left = int(torch.randint(0, CANVAS[1] - WINDOW[1] + 1, ()))
    rows, cols = slice(top, top + WINDOW[0]), slice(left, left + WINDOW[1])
    return Walls(*(part[..., rows, cols] for part in walls.parts()))


def is_covered(kinds: Tensor) -> Tensor:
    """Where mycelium or its normal stain covers the place, as 0 and 1."""
    growth = (kinds == int(TissueClass.MYCELIUM)) | (kinds == int(TissueClass.STAIN))
    return growth.float()


def loss_of(out: Tensor, walls: Walls, weights: Tensor) -> Tensor:
    """Cross entropy of classes, opacity, cover and caps, and the error of each wall's coverage.

    Cover is asked wherever contents stand, seen or not; what hides them counts half. Caps are
    rare: each counts five times.
    """
    entropy = functional.cross_entropy(
        out[:, :CLASS_COUNT], walls.seen, weight=weights, ignore_index=IGNORED
    )
    seen = (walls.seen != IGNORED) & (walls.seen > int(TissueClass.UNJUDGED))
    binary = functional.binary_cross_entropy_with_logits
    opacity = binary(out[:, CLASS_COUNT][seen], walls.opacity[seen])
    there = ((walls.beneath != IGNORED) & (walls.beneath > int(TissueClass.UNJUDGED))).float()
    true, logit = is_covered(walls.beneath), out[:, CLASS_COUNT + 1]
    worth = there * (0.5 + 0.5 * seen)
    cover = (binary(logit, true, reduction="none") * worth).sum() / worth.sum().clamp(min=1.0)
    cells = there.sum(dim=(1, 2)).clamp(min=1.0)
    excess = ((torch.sigmoid(logit) - true) * there).sum(dim=(1, 2)) / cells
    clear = (walls.seen != IGNORED) & (walls.seen != int(TissueClass.UNJUDGED))
    caps = binary(
        out[:, CLASS_COUNT + 2][clear], walls.pins[clear], pos_weight=out.new_tensor(CAP_WEIGHT)
    )
    return entropy + 0.3 * opacity + 0.7 * cover + 0.5 * excess.abs().mean() + 0.7 * caps


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
        there = (one.beneath[0] != IGNORED) & (one.beneath[0] > int(TissueClass.UNJUDGED))
        excess = torch.sigmoid(out[CLASS_COUNT + 1])[there] - is_covered(one.beneath[0])[there]
        errors.append(100.0 * excess.mean().abs())
    net.train()
    worst = torch.stack(errors)
    return float(torch.stack(right).mean()), float(worst.mean()), float(worst.quantile(0.95))


def train(args: argparse.Namespace) -> None:
    """Train until the time is up and save the averaged weights."""
    torch.manual_seed(args.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    folders = [load_walls(folder) for folder in args.walls]
    parts = zip(*(folder.parts() for folder in folders), strict=True)
    walls = Walls(*(torch.cat(part).to(device) for part in parts))
    sizes = torch.tensor([len(folder) for folder in folders], device=device)
    print(f"{sizes.tolist()} walls on {device}", flush=True)
    number = torch.arange(len(walls), device=device)
    held = (number % args.hold_every == 0) & (number < sizes[0])
    worth = torch.tensor(args.worth or [1.0] * len(folders), device=device)
    source = torch.repeat_interleave(torch.arange(len(folders), device=device), sizes)
    chance = (~held).float() * worth[source]
    judged = walls.pick(held)
    net = WallNet(tuple(args.widths)).to(device).to(memory_format=torch.channels_last)
    if args.start:
        net.load_state_dict(torch.load(args.start, weights_only=True))
    print(f"{sum(p.numel() for p in net.parameters())} weights", flush=True)
    mean = torch.optim.swa_utils.AveragedModel(
        net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.998), use_buffers=True
    )
    weights = torch.ones(CLASS_COUNT, device=device)
    for kind, weight in CLASS_WEIGHTS.items():
        weights[int(kind)] = weight
    optimiser = torch.optim.AdamW(net.parameters(), lr=args.rate, weight_decay=1e-3)
    start, step = time.time(), 0
    while (spent := time.time() - start) < args.seconds:
        rate = 0.5 * (1 + np.cos(np.pi * spent / args.seconds)) * min(1.0, step / 100)
        optimiser.param_groups[0]["lr"] = args.rate * rate + 1e-6
        batch = vary(window(walls.pick(torch.multinomial(chance, args.batch))))
        with torch.autocast(device.type, dtype=torch.bfloat16):
            out = net(batch.x.contiguous(memory_format=torch.channels_last))
        loss = loss_of(out.float(), batch, weights)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        optimiser.step()
        mean.update_parameters(net)
        step += 1
        if step % args.every == 0:
            tell(f"{spent:.0f} s step {step} loss {loss.item():.3f}", mean.module, judged)
            save(mean.module, args.out)
    tell(f"end: step {step}", mean.module, judged)
    save(mean.module, args.out)


def tell(words: str, net: nn.Module, judged: Walls) -> None:
    """Print how well the net does on the walls that it is not trained on."""
    right, error, worst = validate(net, judged)
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
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=150.0)
    parser.add_argument("--batch", type=int, default=12)
    parser.add_argument("--every", type=int, default=400)
    parser.add_argument("--hold-every", type=int, default=8, help="every n-th wall validates")
    train(parser.parse_args())


if __name__ == "__main__":
    main()
