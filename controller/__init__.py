"""frameward: keeps a garden cold frame frost free, and says so."""

__version__ = "0.2.0"
