"""The jar in one photo: found, and its wall unrolled."""
