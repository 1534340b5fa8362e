"""How well nets read composed walls: ``python -m tests.training.judging BANK NETS --out FILE``.

``BANK`` holds layers that nothing was trained on (``bank --judged``), ``NETS`` are weights;
``without_2.pt`` is a net that never saw family 2: its figures on that family are those that count.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import torch
from torch import Tensor

from .batches import Plan, Room, Stock, draw_batch
from .contents_layers import FAMILIES
from .learning import cover_of, without_reference
from .tissue_nets import CLASS_COUNT, TissueNet, load_net
from .train import contents_of

NUMBERS = ("truth", "coverage", "doubt", "log_error", "false_stain", "false_wet", "right")
REAL_TEXTURE = len(FAMILIES)  # stands for a family in the table
WAYS = ("wild", "tame")
EACH = 4  # walls of a family in a batch


@torch.no_grad()
def judge(
    nets: dict[str, TissueNet], stock: Stock, *, rounds: int, seed: int
) -> dict[str, np.ndarray]:
    """The numbers of each net on each wall, with and without the jar's bare look.

    ``numbers`` is ``(nets, 2, walls, 7)``: without and with the look; see :data:`NUMBERS`.
    ``family`` and ``tame`` are ``(walls,)``.
    """
    torch.manual_seed(seed)
    plan = Plan(family=EACH, texture=EACH, rendered=0, painted=0)
    told: dict[str, list[list[Tensor]]] = {name: [[], []] for name in nets}
    families, tame = [], []
    for number in range(rounds):
        batch = draw_batch(stock, plan, known=1.0, tame=float(number % 2))
        families.append(torch.arange(len(batch.x)) // EACH)
        tame.append(torch.full((len(batch.x),), number % 2))
        for name, net in nets.items():
            for known, x in enumerate((without_reference(batch.x), batch.x)):
                told[name][known].append(_numbers(net(x), batch.seen, batch.beneath))
    numbers = torch.stack(
        [torch.stack([torch.cat(part) for part in both]) for both in told.values()]
    )
    return {
        "numbers": numbers.numpy().astype(np.float32),
        "family": torch.cat(families).numpy(),
        "tame": torch.cat(tame).numpy(),
        "nets": np.array(list(nets)),
        "names": np.array(NUMBERS),
    }


def _numbers(out: Tensor, seen: Tensor, beneath: Tensor) -> Tensor:
    """The seven numbers of each wall, ``(n, 7)``."""
    told = cover_of(out, beneath)
    kinds = out[:, 2:CLASS_COUNT].argmax(dim=1) + 2
    there = contents_of(seen)
    cells = there.sum(dim=(1, 2)).clamp(min=1.0)
    shares = [
        (part * there).sum(dim=(1, 2)) / cells
        for part in ((kinds == 4) & (seen != 4), (kinds == 9) & (seen != 9), kinds == seen)
    ]
    return torch.stack([told.truth, told.coverage, told.doubt, told.log_error, *shares], dim=1)


def table(judged: dict[str, np.ndarray]) -> str:
    """Mean and 95th error in points by net and family, without / with the bare look."""
    names = [*(name.split()[0] for name in FAMILIES), "textures"]
    lines = ["net".ljust(22) + " ".join(name[:13].ljust(19) for name in names)]
    for way, word in enumerate(WAYS):
        for net, both in zip(judged["nets"], judged["numbers"], strict=True):
            cells = []
            for kind in range(len(names)):
                mine = both[:, (judged["family"] == kind) & (judged["tame"] == way)]
                off = 100.0 * np.abs(mine[..., 1] - mine[..., 0])
                cells.append(
                    " / ".join(f"{one.mean():.1f} {np.quantile(one, 0.95):.0f}" for one in off)
                )
            lines.append(f"{net} {word}".ljust(22) + " ".join(cell.ljust(19) for cell in cells))
    return "\n".join(lines)


def main() -> None:
    """Judge some nets."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("bank", type=Path)
    parser.add_argument("nets", type=Path, nargs="+")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--rounds", type=int, default=12, help="half of them wild, half tame")
    parser.add_argument("--seed", type=int, default=99)
    args = parser.parse_args()
    stock = Stock.empty(torch.device("cpu"), Room(96, 96, 192, 1, 1))
    stock.take_in(args.bank)
    nets = {path.stem: load_net(path) for path in args.nets}
    judged = judge(nets, stock, rounds=args.rounds, seed=args.seed)
    np.savez_compressed(args.out, **judged)
    print(table(judged))


if __name__ == "__main__":
    main()
