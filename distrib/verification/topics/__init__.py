"""One module per topic, each exposing CHECKS: tuple[Published, ...]; found by `run.all_checks`."""
