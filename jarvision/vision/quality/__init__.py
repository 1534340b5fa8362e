"""Is a photo good enough to be read? Every refusal has a reason word and says what to do."""
