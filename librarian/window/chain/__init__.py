"""The chain across the top: computer, cable, instrument; what is true, and where the line is broken."""
