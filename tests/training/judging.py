"""How well nets read composed walls of layers that nothing was trained on."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import torch
from torch import Tensor

from .batches import Plan, Stock, draw_batch
from .contents_layers import FAMILIES
from .learning import Learner, cover_of, without_reference
from .tissue_nets import CLASS_COUNT
from .train import contents_of

NUMBERS = ("truth", "coverage", "doubt", "log_error", "false_stain", "false_wet", "right")
PLAN = Plan(family=8, texture=8, painted=0)
REAL_TEXTURE = len(FAMILIES)  # stands for a family in the table


@torch.no_grad()
def judge(learners: list[Learner], stock: Stock, *, out: Path, rounds: int, seed: int = 99) -> None:
    """Write the numbers of each net on each wall, with and without the jar's bare look.

    ``numbers`` is ``(nets, 2, walls, 7)``: without and with the look; see :data:`NUMBERS`.
    ``family`` and ``holds`` are ``(walls,)``.
    """
    torch.manual_seed(seed)
    told: list[list[list[Tensor]]] = [[[], []] for _ in learners]
    families, holds = [], []
    for _ in range(rounds):
        batch = draw_batch(stock, PLAN, known=1.0)
        place = torch.arange(len(batch.x), device=batch.x.device)
        families.append((place // PLAN.family).clamp(max=REAL_TEXTURE))
        holds.append(batch.holds)
        for net, learner in enumerate(learners):
            for known, x in enumerate((without_reference(batch.x), batch.x)):
                told[net][known].append(_numbers(learner.look(x), batch.seen, batch.beneath))
    numbers = torch.stack([torch.stack([torch.cat(part) for part in both]) for both in told])
    np.savez_compressed(
        out,
        numbers=numbers.cpu().numpy().astype(np.float32),
        family=torch.cat(families).cpu().numpy(),
        holds=torch.cat(holds).cpu().numpy(),
        nets=np.array([learner.plan.name for learner in learners]),
        names=np.array(NUMBERS),
    )
    print(table([one.plan.name for one in learners], numbers.cpu().numpy(),
                torch.cat(families).cpu().numpy()), flush=True)  # fmt: skip


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


def table(nets: list[str], numbers: np.ndarray, family: np.ndarray) -> str:
    """Mean and 95th error in points by net and family, without / with the bare look."""
    names = [*(name.split()[0] for name in FAMILIES), "textures"]
    lines = ["net".ljust(22) + " ".join(name[:13].ljust(19) for name in names)]
    for net, both in zip(nets, numbers, strict=True):
        cells = []
        for kind in range(len(names)):
            mine = both[:, family == kind]
            off = 100.0 * np.abs(mine[..., 1] - mine[..., 0])
            cells.append(
                " / ".join(f"{one.mean():.1f} {np.quantile(one, 0.95):.0f}" for one in off)
            )
        lines.append(net.ljust(22) + " ".join(cell.ljust(19) for cell in cells))
    return "\n".join(lines)
