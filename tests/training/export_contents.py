"""Write a trained network as ONNX: ``python -m tests.training.export_contents net.pt``.

As :mod:`tests.training.export` writes the specialist.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch

from .export import LARGE, write_onnx
from .tissue_nets import COVER, FINEST, INPUTS, load_net

TARGET = Path(__file__).parents[2] / "jarvision" / "vision" / "tissue" / "generalist.onnx"


def main() -> None:
    """Export."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path)
    parser.add_argument("--cover", type=float, default=0.0, help="added to the logit of cover")
    parser.add_argument("--out", type=Path, default=TARGET)
    args = parser.parse_args()
    net = load_net(args.weights)
    with torch.no_grad():
        net.head.bias[COVER * FINEST**2 : (COVER + 1) * FINEST**2] += args.cover
    write_onnx(net, INPUTS, args.out, large=LARGE)


if __name__ == "__main__":
    main()
