"""How right the tool is on this shelf."""
