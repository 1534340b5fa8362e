"""Places of a coarse map that look at one another (PyTorch).

A pale wall is grown over or bare by how the rest of the jar looks; convolutions see a few
centimetres, and a mean over the jar has no place for two kinds of contents.
"""

from __future__ import annotations

from torch import Tensor, nn
from torch.nn import functional

HEADS = 4
WIDEN = 2


class Comparison(nn.Module):
    """``(n, width, rows, cols)`` to the same; adds nothing until it is trained.

    Self-attention with several heads, then a perceptron, both behind norms (Vaswani et al. 2017;
    Xiong et al. 2020; from memory). It knows no places: height and angle are inputs of the net.
    """

    def __init__(self, width: int) -> None:
        super().__init__()
        self.first, self.second = nn.LayerNorm(width), nn.LayerNorm(width)
        self.ask = nn.Linear(width, 3 * width)
        self.heard = nn.Linear(width, width)
        self.wide = nn.Linear(width, WIDEN * width)
        self.thought = nn.Linear(WIDEN * width, width)
        for last in (self.heard, self.thought):
            nn.init.zeros_(last.weight)
            nn.init.zeros_(last.bias)

    def forward(self, x: Tensor) -> Tensor:
        """Let all places of each map look at all others of it."""
        n, width, rows, cols = x.shape
        places = x.flatten(2).transpose(1, 2)
        asked = self.ask(self.first(places)).view(n, rows * cols, 3, HEADS, width // HEADS)
        query, key, value = asked.permute(2, 0, 3, 1, 4)
        heard = functional.scaled_dot_product_attention(query, key, value)
        places = places + self.heard(heard.transpose(1, 2).reshape(n, rows * cols, width))
        places = places + self.thought(functional.gelu(self.wide(self.second(places))))
        return places.transpose(1, 2).view(n, width, rows, cols)


def comparisons(width: int, rounds: int) -> nn.Sequential:
    """So many rounds, one after the other."""
    return nn.Sequential(*(Comparison(width) for _ in range(rounds)))
