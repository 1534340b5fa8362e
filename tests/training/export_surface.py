"""Write the trained surface network as ONNX: ``python -m tests.training.export_surface net.pt``.

As :mod:`.export` does it: weights are stored as 16-bit floats, and what follows the last layer is
cheaper outside. The package's network is of an earlier recipe: what reads it takes cells of 0.25 mm
and no middles, so one of this recipe does not go into its place by itself.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import onnx
import torch

from .export import packed
from .surface_net import INPUTS, SurfaceNet


def main() -> None:
    """Export."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    net = SurfaceNet()
    stored = torch.load(args.weights, weights_only=True)
    net.load_state_dict({name: weights.float() for name, weights in stored.items()})
    net.eval()
    torch.onnx.export(
        net, (torch.zeros(1, INPUTS, 320, 352),), str(args.out), input_names=["surface"],
        output_names=["logits"], opset_version=13, dynamo=False,
        dynamic_axes={"surface": {2: "rows", 3: "cols"}, "logits": {2: "rows", 3: "cols"}},
    )  # fmt: skip
    onnx.save(packed(onnx.load(args.out), large=float("inf")), args.out)
    print(f"{args.out.name}: {args.out.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
