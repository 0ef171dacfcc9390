"""The report: one self-contained page to hand over."""
