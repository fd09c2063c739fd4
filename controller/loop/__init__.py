"""The tick and what stands round it."""
