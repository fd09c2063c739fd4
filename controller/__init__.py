"""frameward: keeps a garden cold frame frost free, and says so."""

__version__ = "0.1.0"
