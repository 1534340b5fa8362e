"""Networks of the package, read back into PyTorch: they answer as the package's do."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch")
pytest.importorskip("onnx")

from jarvision.vision.session import open_network  # noqa: E402 - without PyTorch: nothing to test

from .import_net import blank, folded, take_over  # noqa: E402
from .tissue_nets import INPUTS, Kind  # noqa: E402

TISSUE = "jarvision.vision.tissue"
FOLDER = Path(__file__).parents[2].joinpath(*TISSUE.split("."))


@pytest.mark.parametrize(
    ("kind", "file"), [("plain", "generalist.onnx"), ("pretrained", "naturalist.onnx")]
)
def test_a_network_read_back_answers_as_before(kind: Kind, file: str) -> None:
    torch.manual_seed(1)
    net = blank(kind)
    take_over(net, folded(FOLDER / file), torch.randn(2, INPUTS, 96, 64))
    other = torch.randn(1, INPUTS, 64, 96)
    with torch.no_grad():
        told = net.squares(other).numpy()
    (expected,) = open_network(TISSUE, file).run(None, {"wall": other.numpy()})
    np.testing.assert_allclose(told, expected, atol=1e-3)
    assert np.abs(expected).max() > 1.0


def test_every_norm_has_a_spread_to_be_trained_from() -> None:
    net = blank("plain")
    take_over(net, folded(FOLDER / "generalist.onnx"), torch.randn(2, INPUTS, 96, 64))
    spreads = [m.running_var for m in net.modules() if isinstance(m, torch.nn.BatchNorm2d)]
    assert len(spreads) > 10
    assert all((spread > 0.0).float().mean() > 0.5 for spread in spreads)
