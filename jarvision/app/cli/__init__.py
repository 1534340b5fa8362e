"""The ``jarvision`` command: thin skins over the package."""
