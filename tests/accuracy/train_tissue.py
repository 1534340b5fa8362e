"""Train the tissue network: ``python -m tests.accuracy.train_tissue WALLS [MORE] --out net.pt``.

Folders are written by :mod:`tests.accuracy.wall_data` or :mod:`tests.accuracy.painted_walls`;
batches draw from each alike, every n-th wall of the first validates. Needs PyTorch; a graphics
card makes it minutes instead of hours. ``tests/accuracy/export_tissue.py`` turns the result into
the ONNX file of the package.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from jarvision.colourspace import srgb_decode
from jarvision.records import TissueClass, Wall
from jarvision.tissue.inputs import CHANNELS, network_inputs

from .wall_net import CLASS_COUNT, WallNet

HEADROOM = 2.0
CANVAS = (640, 448)  # rows, columns of 0.25 mm
WINDOW = (448, 352)
IGNORED = 255
CLASS_WEIGHTS = {
    TissueClass.OUTSIDE: 0.6, TissueClass.UNJUDGED: 1.0, TissueClass.BARE: 1.0,
    TissueClass.MYCELIUM: 1.0, TissueClass.STAIN: 1.5, TissueClass.GREEN: 2.0,
    TissueClass.BLACK: 2.0, TissueClass.PINK: 2.0, TissueClass.YELLOW: 2.0, TissueClass.WET: 2.0,
}  # fmt: skip


def load_walls(folder: Path) -> tuple[Tensor, Tensor, Tensor, list[str]]:
    """Inputs ``(n, 7, rows, cols)`` half, classes and opacity ``uint8``, padded to the canvas."""
    inputs, classes, opacities, names = [], [], [], []
    for path in sorted(folder.glob("*.npz")):
        with np.load(path) as data:
            colour = cv2.imdecode(data["colour"], cv2.IMREAD_COLOR)[..., ::-1]
            kinds = cv2.imdecode(data["classes"], cv2.IMREAD_GRAYSCALE)
            hidden = cv2.imdecode(data["opacity"], cv2.IMREAD_GRAYSCALE)
            burnt = np.unpackbits(data["burnt"])[: kinds.size].reshape(kinds.shape) > 0
            linear = (HEADROOM * srgb_decode(colour / 255.0)).astype(np.float32)
            truth = np.ones(kinds.shape, bool)
            wall = Wall(
                linear, data["angles_deg"], data["heights_mm"], float(data["radius_mm"]),
                truth, truth, np.zeros((1, 1, 2), np.float32),
            )  # fmt: skip
        rows, cols = (min(size, limit) for size, limit in zip(kinds.shape, CANVAS, strict=True))
        x = np.zeros((CHANNELS, *CANVAS), np.float16)
        y = np.full(CANVAS, IGNORED, np.uint8)
        o = np.zeros(CANVAS, np.uint8)
        x[:, :rows, :cols] = network_inputs(wall, burnt)[:, :rows, :cols]
        y[:rows, :cols], o[:rows, :cols] = kinds[:rows, :cols], hidden[:rows, :cols]
        inputs.append(torch.from_numpy(x))
        classes.append(torch.from_numpy(y))
        opacities.append(torch.from_numpy(o))
        names.append(path.stem)
    return torch.stack(inputs), torch.stack(classes), torch.stack(opacities), names


def vary(x: Tensor, y: Tensor, o: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Flip, shift and scale a batch; shift its colours; slope its light; blur and add noise."""
    n, device = x.shape[0], x.device
    flip = torch.where(torch.rand(n, device=device) < 0.5, -1.0, 1.0)
    grow = torch.exp(torch.randn(n, device=device) * 0.08)
    theta = torch.zeros(n, 2, 3, device=device)
    theta[:, 0, 0], theta[:, 1, 1] = flip * grow, grow
    theta[:, 0, 1] = torch.randn(n, device=device) * 0.03
    theta[:, :, 2] = torch.randn(n, 2, device=device) * 0.06
    grid = functional.affine_grid(theta, list(x.shape), align_corners=False)
    known = (y != IGNORED).float()[:, None]
    x = functional.grid_sample(x, grid, align_corners=False)
    labels = torch.stack([y.float() + 1, o.float()], dim=1) * torch.cat([known, known], dim=1)
    labels = functional.grid_sample(labels, grid, mode="nearest", align_corners=False)
    seen = labels[:, 0] > 0.5
    y = torch.where(seen, labels[:, 0].round() - 1, torch.full_like(labels[:, 0], IGNORED))
    o = labels[:, 1]
    inside = seen[:, None].float()
    x[:, 3] *= flip[:, None, None]
    shift = torch.randn(n, 3, 1, 1, device=device) * x.new_tensor([0.22, 0.12, 0.12])[:, None, None]
    slope = torch.randn(n, 1, 1, 1, device=device) * 0.12 * x[:, 3:4]
    slope = slope + torch.randn(n, 1, 1, 1, device=device) * 0.1 * (x[:, 5:6] - 0.5)
    x = x.clone()
    x[:, :3] += shift * inside
    x[:, :1] += slope * inside
    soft = functional.avg_pool2d(x[:, :3], 3, 1, 1)
    share = torch.rand(n, 1, 1, 1, device=device) * (torch.rand(n, 1, 1, 1, device=device) < 0.5)
    x[:, :3] += share * (soft - x[:, :3])
    grain = torch.rand(n, 1, 1, 1, device=device) * 0.06
    x[:, :3] += grain * torch.randn_like(x[:, :3]) * inside
    return x * inside, y.long(), o / 255.0


def window(x: Tensor, y: Tensor, o: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Cut one random window out of a batch: most of a jar, half of the canvas."""
    top = int(torch.randint(0, CANVAS[0] - WINDOW[0] + 1, ()))
    left = int(torch.randint(0, CANVAS[1] - WINDOW[1] + 1, ()))
    rows, cols = slice(top, top + WINDOW[0]), slice(left, left + WINDOW[1])
    return x[..., rows, cols], y[:, rows, cols], o[:, rows, cols]


def loss_of(out: Tensor, y: Tensor, o: Tensor, weights: Tensor) -> Tensor:
    """Cross entropy of the classes, and of the opacity where there are contents."""
    entropy = functional.cross_entropy(out[:, :-1], y, weight=weights, ignore_index=IGNORED)
    contents = (y != IGNORED) & (y > int(TissueClass.UNJUDGED))
    hidden = functional.binary_cross_entropy_with_logits(out[:, -1][contents], o[contents])
    return entropy + 0.5 * hidden


@torch.no_grad()
def validate(net: nn.Module, x: Tensor, y: Tensor) -> tuple[float, float]:
    """Share of places classed right, and mean error of the coverage (points), on unseen walls."""
    net.eval()
    right, errors = [], []
    for i in range(len(x)):
        kinds = net(x[i : i + 1].float())[0, :-1].argmax(0)
        known = y[i] != IGNORED
        contents = known & (y[i] > int(TissueClass.UNJUDGED))
        right.append((kinds[known] == y[i][known]).float().mean().item())
        covered = [
            ((k == int(TissueClass.MYCELIUM)) | (k == int(TissueClass.STAIN)))[contents]
            .float().mean().item()
            for k in (kinds, y[i])
        ]  # fmt: skip
        errors.append(100 * abs(covered[0] - covered[1]))
    net.train()
    return float(np.mean(right)), float(np.mean(errors))


def train(args: argparse.Namespace) -> None:
    """Train until the time is up and save the averaged weights."""
    torch.manual_seed(1)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    folders = [load_walls(folder) for folder in args.walls]
    x, y, o = (torch.cat(part).to(device) for part in list(zip(*folders, strict=True))[:3])
    sizes = [len(folder[3]) for folder in folders]
    print(f"{sizes} walls on {device}", flush=True)
    number = torch.arange(sum(sizes), device=device)
    held = (number % args.hold_every == 0) & (number < sizes[0])
    source = torch.repeat_interleave(torch.arange(len(sizes)), torch.tensor(sizes)).to(device)
    chance = (~held).float() / torch.tensor(sizes, device=device)[source]
    net = WallNet().to(device).to(memory_format=torch.channels_last)
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
        pick = torch.multinomial(chance, args.batch)
        bx, by, bo = vary(*window(x[pick].float(), y[pick], o[pick]))
        with torch.autocast(device.type, dtype=torch.bfloat16):
            out = net(bx.contiguous(memory_format=torch.channels_last))
        loss = loss_of(out.float(), by, bo, weights)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        optimiser.step()
        mean.update_parameters(net)
        step += 1
        if step % args.every == 0:
            right, error = validate(mean.module, x[held], y[held])
            print(f"{spent:.0f} s step {step} loss {loss.item():.3f} right {right:.4f} "
                  f"coverage error {error:.2f}", flush=True)  # fmt: skip
            save(mean.module, args.out)
    right, error = validate(mean.module, x[held], y[held])
    print(f"end: step {step} right {right:.4f} coverage error {error:.2f}")
    save(mean.module, args.out)


def save(net: nn.Module, path: Path) -> None:
    """Write the weights."""
    torch.save({k: v.cpu() for k, v in net.state_dict().items()}, path)


def main() -> None:
    """Parse the command line and train."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("walls", type=Path, nargs="+")
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
