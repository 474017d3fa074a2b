"""Units, sizes at 20 C and duty: the formulas of the trade."""
