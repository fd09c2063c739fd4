"""One file per command of ``frameward``; each offers ``command``, loaded only when asked for."""
