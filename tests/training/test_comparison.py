"""Places that look at one another: nothing at first, then at all of their jar."""

from __future__ import annotations

from pathlib import Path

import pytest

torch = pytest.importorskip("torch")

from .comparison import Comparison, comparisons  # noqa: E402 - without PyTorch: nothing to test
from .tissue_nets import INPUTS, Kind, make_net  # noqa: E402


def trained(width: int) -> Comparison:
    """One whose last layers have learned something."""
    torch.manual_seed(3)
    layer = Comparison(width)
    for last in (layer.heard, layer.thought):
        torch.nn.init.normal_(last.weight, std=0.2)
    return layer


@pytest.mark.parametrize("kind", ["plain", "pretrained"])
def test_a_net_goes_on_from_weights_without_comparisons_as_it_was(
    kind: Kind, tmp_path: Path
) -> None:
    torch.manual_seed(2)
    before = make_net(kind, rounds=0).eval()
    torch.save(before.state_dict(), tmp_path / "before.pt")
    after = make_net(kind, tmp_path / "before.pt").eval()
    x = torch.randn(1, INPUTS, 64, 96)
    with torch.no_grad():
        torch.testing.assert_close(after(x), before(x))
    assert sum(1 for layer in after.modules() if isinstance(layer, Comparison)) > 1


def test_what_a_place_is_told_hangs_on_every_other_of_its_jar_and_on_no_other_jar() -> None:
    layer = trained(16).eval()
    x = torch.randn(2, 16, 5, 7)
    changed = x.clone()
    changed[0, ::2, 4, 6] += 1.0  # a norm takes what all have in common
    with torch.no_grad():
        moved = (layer(changed) - layer(x)).abs().amax(dim=1)
    assert bool((moved[0] > 0.0).all())
    assert float(moved[1].max()) == 0.0


def test_where_a_place_stands_does_not_matter() -> None:
    layer = trained(16).eval()
    x = torch.randn(1, 16, 3, 4)
    with torch.no_grad():
        torch.testing.assert_close(layer(x.flip(2)), layer(x).flip(2), atol=1e-5, rtol=1e-5)


def test_rounds_follow_one_another() -> None:
    assert len(comparisons(8, 3)) == 3
    x = torch.randn(1, 8, 2, 2)
    torch.testing.assert_close(comparisons(8, 0)(x), x)
