"""The case file: one TOML file that describes a design and its conditions."""
