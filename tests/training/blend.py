"""A network between two others: ``python -m tests.training.blend START NET WALLS --out OUT``.

A net that went on from another's weights can often be averaged with it: the mean keeps much of
what either knows (Wortsman et al. 2022, from memory). The net that a training began with knows
glass and lenses, the one that it ended with knows contents. Batch norms do not survive an average:
their means and spreads are taken anew on walls of both kinds.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch
from torch import Tensor, nn

from .tissue_nets import PlainNet, make_net

SHARE = 0.35  # of the start


def blend(start: PlainNet, end: PlainNet, share: float, batches: list[Tensor]) -> PlainNet:
    """Average the weights and renew the norms on batches of inputs ``(n, 13, rows, cols)``."""
    net = PlainNet()
    first, last = start.state_dict(), end.state_dict()
    net.load_state_dict(
        {k: torch.lerp(v, first[k], share) if v.is_floating_point() else v for k, v in last.items()}
    )
    for module in net.modules():
        if isinstance(module, nn.BatchNorm2d):
            module.momentum = None  # a plain mean over all batches
            module.reset_running_stats()
            module.train()
    with torch.no_grad():
        for batch in batches:
            net(batch)
    return net.eval()


def main() -> None:
    """Blend two files of weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("start", type=Path, help="weights that the training began with")
    parser.add_argument("net", type=Path, help="weights that it ended with")
    parser.add_argument("walls", type=Path, nargs="+", help="files with a tensor of inputs each")
    parser.add_argument("--share", type=float, default=SHARE, help="of the start")
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    start, end = make_net("plain", args.start), make_net("plain", args.net)
    if not isinstance(start, PlainNet) or not isinstance(end, PlainNet):
        raise TypeError("only plain nets are blended")
    batches = [torch.load(path, weights_only=True).float() for path in args.walls]
    net = blend(start, end, args.share, batches)
    torch.save({k: v.half() if v.is_floating_point() else v for k, v in net.state_dict().items()},
               args.out)  # fmt: skip


if __name__ == "__main__":
    main()
