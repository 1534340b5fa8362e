"""What is measured for the history, commit by commit: ``make bench-history`` keeps it with asv."""
