"""Write a trained network as ONNX: ``python -m tests.training.export_contents net.pt``.

Batch norms are folded into the convolutions; weights are stored as 32-bit floats.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch

from .tissue_nets import COVER, FINEST, INPUTS, load_net

TARGET = Path(__file__).parents[2] / "jarvision" / "vision" / "tissue" / "generalist.onnx"


def main() -> None:
    """Export."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path)
    parser.add_argument("--kind", choices=("plain", "pretrained"), default="plain")
    parser.add_argument("--cover", type=float, default=0.0, help="added to the logit of cover")
    parser.add_argument("--out", type=Path, default=TARGET)
    args = parser.parse_args()
    net = load_net(args.kind, args.weights)
    with torch.no_grad():
        net.head.bias[COVER * FINEST**2 : (COVER + 1) * FINEST**2] += args.cover
    net.forward = net.squares  # type: ignore[method-assign]  # what follows is cheaper outside
    torch.onnx.export(
        net, (torch.zeros(1, INPUTS, 480, 352),), str(args.out), input_names=["wall"],
        output_names=["logits"], opset_version=13, dynamo=False,
        dynamic_axes={"wall": {2: "rows", 3: "cols"}, "logits": {2: "rows", 3: "cols"}},
    )  # fmt: skip
    print(f"{args.out.name}: {args.out.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
