"""From probe to sample: read, judge, calibrate."""
