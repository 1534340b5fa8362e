from __future__ import annotations

import numpy as np
import pytest
from drawn_cards import paint_card

from jarvision.vision.card.layout import CardLayout, load_layout


@pytest.fixture(scope="module")
def layout() -> CardLayout:
    return load_layout()


@pytest.fixture(scope="module")
def drawn(layout: CardLayout) -> np.ndarray:
    return paint_card(layout)
