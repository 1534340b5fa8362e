"""Makes `tests.scenes` this folder's own, whatever else is called `tests` on the path."""
