"""Photos from above: the mouth in the ring, the surface laid flat, what is read on it."""
