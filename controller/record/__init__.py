"""What is kept: history, snapshot, log."""
