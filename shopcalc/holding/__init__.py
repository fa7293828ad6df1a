"""Holding: whether stock cleans up, what each face makes of the other, and what stands in the cutter's way."""
