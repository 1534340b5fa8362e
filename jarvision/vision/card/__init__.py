"""The reference card: its layout, drawing, finding, and the colours of a print."""
