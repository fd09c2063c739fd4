"""How notices reach people."""
