"""A third look, for judging only: drawn jars whose contents appear nowhere else in this project.

Nothing is trained, tuned, chosen or stopped on these photos: no weights, no limits, no thresholds,
no settings of any generator. They are looked at when a change is finished, to learn what it is
worth on contents never seen, and their families of contents are drawn nowhere else. The package
shares no code with ``tests/scenes`` nor with any generator of training walls: every surface is a
function of the place on the wall (hashed cells, distances, noise), shaded as a relief, and put
into a photo by following sight lines through the program's own :class:`GlassCylinder`.

``python -m tests.accuracy.judge.draw OUT`` writes a set in the form that
:mod:`tests.accuracy.foreign` measures; seeds begin at 30000.

What is simple: no light travels inside the contents or the growth; lamps throw no shadows of the
jar; drops of water do not refract; mould is round spots; the lid is a plain cylinder.
"""
