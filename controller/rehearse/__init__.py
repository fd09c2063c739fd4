"""A simulated frame, weather and gardener, to run the real keeper against."""
