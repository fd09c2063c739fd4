"""Settings: one TOML text in, frozen records or every fault out."""
