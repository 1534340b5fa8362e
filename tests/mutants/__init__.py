"""Do the tests bite? Small faults are put into the code, and a test must notice: ``make mutants``.

The faults are those of cosmic-ray (MIT licence), one place each, drawn by a seed; every one is
tried against the fast tests of its room and those that name it. Faults that change nothing stand
in ``equal.toml``. The score is in docs/mutation.md.
"""
